package workflow

import (
	"cmp"
	"fmt"
	"iter"
	"math"
	"slices"
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/reading"
)

// A recorder's clock may have been wrong. By how much it was ahead is taken out
// of its times before anything is judged. What remains, or all of it where
// nobody knows, is a bound: a reading may have been taken so much sooner or
// later, and whatever depends on which is decided to the harmful side.

// clock is how the clock of an instrument was wrong; empty, as nearly always, if
// it was not.
type clock instrument.Clock

// at returns what is known of the clock when it showed a time.
func (c clock) at(shown int64) (ahead, bound int64) {
	for _, m := range c {
		if m.From <= shown && shown < m.To {
			return m.Ahead, m.Bound
		}
	}
	return 0, 0
}

// reach is the most by which a time that the clock showed lies beside the true
// one.
func (c clock) reach() (most int64) {
	for _, m := range c {
		most = max(most, m.Ahead+m.Bound, m.Bound-m.Ahead)
	}
	return most
}

// bound is within what a reading of which the true time lies in [from, to] may
// have been taken sooner or later.
func (c clock) bound(from, to int64) (most int64) {
	for _, m := range c {
		if plus(m.From, -m.Ahead-m.Bound) <= to && from <= plus(m.To, m.Bound-m.Ahead) {
			most = max(most, m.Bound)
		}
	}
	return most
}

// plus adds to a time that may be one of the ends of all time.
func plus(at, d int64) int64 {
	if at == math.MinInt64 || at == math.MaxInt64 {
		return at
	}
	return at + d
}

// straightened returns readings at their true times, in order.
func (c clock) straightened(list iter.Seq2[reading.Taken, error]) iter.Seq2[reading.Taken, error] {
	if len(c) == 0 {
		return list
	}
	return func(yield func(reading.Taken, error) bool) {
		var all []reading.Taken
		for r, err := range list {
			if err != nil {
				yield(r, err)
				return
			}
			all = append(all, c.right(r))
		}
		slices.SortStableFunc(all, func(a, b reading.Taken) int { return cmp.Compare(a.At, b.At) })
		for _, r := range all {
			if !yield(r, nil) {
				return
			}
		}
	}
}

// right returns a reading at its true time.
func (c clock) right(r reading.Taken) reading.Taken {
	r.Ahead, _ = c.at(r.At)
	r.At -= r.Ahead
	return r
}

// gaps returns gaps at their true times, in order.
func (c clock) gaps(list []reading.Gap) []reading.Gap {
	for i := range list {
		list[i].Taken = c.right(list[i].Taken)
	}
	slices.SortStableFunc(list, func(a, b reading.Gap) int { return cmp.Compare(a.At, b.At) })
	return list
}

// stays returns a stay in the ways that it may have been. Where the clock leaves
// open which readings were taken during it, it is judged with all that may have
// been and with those that must have been.
func (c clock) stays(s stay) []stay {
	b := c.bound(s.from, s.to)
	if b == 0 {
		return []stay{s}
	}
	wide, narrow := s, s
	wide.slack = b
	narrow.from, narrow.to = plus(s.from, b), plus(s.to, -b)
	if narrow.from > narrow.to {
		return []stay{wide}
	}
	return []stay{wide, narrow}
}

// eitherWay puts the ways that a stay may have been together: what they do not
// agree on depends on the clock.
func eitherWay(items []item, all []judged) {
	type way struct {
		stay  int
		limit string
	}
	first, alone := map[way]int{}, map[int]bool{}
	for i, it := range items {
		if it.stay == 0 {
			continue
		}
		k := way{it.stay, it.limit}
		j, there := first[k]
		if !there {
			first[k], alone[i] = i, true
			continue
		}
		all[j], alone[j], all[i].doubted = all[j].or(all[i]), false, false
	}
	for i, is := range alone {
		if is && all[i].doubted && all[i].Result.Verdict == limit.Missed {
			all[i] = all[i].or(judged{}) // no reading must have been taken during it
		}
	}
}

// or is what can be said where it was one way or the other. A way in which
// nothing is in doubt is met as far as it goes.
func (j judged) or(o judged) judged {
	verdict := func(j judged) limit.Verdict {
		if !j.doubted {
			return limit.Met
		}
		return j.Result.Verdict
	}
	v, w := verdict(j), verdict(o)
	graver := j
	if v.LessGrave(w) || !j.doubted {
		graver = o
	}
	if v == w {
		return graver
	}
	graver.Result.Verdict = limit.Indeterminate
	if v == limit.Unknown || w == limit.Unknown {
		graver.Result.Verdict = limit.Unknown
	}
	graver.Result.ProbabilityMissed, graver.Result.Probabilities = nil, nil
	graver.Result.Reasons = slices.Clone(graver.Result.Reasons)
	alone(&graver.Result)
	graver.Result.Reasons = append(graver.Result.Reasons, fmt.Sprintf(
		"%s or %s, depending on the clock: readings near the ends of the stay may have been taken before or after it", graverOf(v, w), lesserOf(v, w)))
	return graver
}

func graverOf(v, w limit.Verdict) limit.Verdict {
	if v.LessGrave(w) {
		return w
	}
	return v
}

func lesserOf(v, w limit.Verdict) limit.Verdict {
	if v.LessGrave(w) {
		return v
	}
	return w
}

// notes says in sentences what was done to the times of readings in (after,
// until].
func (c clock) notes(after, until int64) (out []string) {
	for _, m := range c {
		if plus(m.To, m.Bound-m.Ahead) <= after || plus(m.From, -m.Ahead-m.Bound) > until {
			continue
		}
		when := "from " + time.UnixMicro(m.From).UTC().Format(time.RFC3339) + " by its own time"
		if m.Ahead != 0 {
			out = append(out, fmt.Sprintf("its clock was %s %s: the readings are judged at their true times", aheadOrBehind(m.Ahead), when))
		}
		if m.Bound != 0 {
			out = append(out, fmt.Sprintf("its clock was off by an unknown time of up to %v %s: readings so near the ends of the window count as in it, and those so near the ends of a stay as taken during it and not",
				time.Duration(m.Bound)*time.Microsecond, when))
		}
	}
	return out
}

func aheadOrBehind(us int64) string {
	if us < 0 {
		return fmt.Sprintf("%v behind", time.Duration(-us)*time.Microsecond)
	}
	return fmt.Sprintf("%v ahead", time.Duration(us)*time.Microsecond)
}

// when returns the time at which a reading is judged: its own, unless the clock
// leaves open whether it was taken at another at which less is known of its
// error.
func (w windowed) when(at int64, x unit.Celsius) int64 {
	b := w.clock.bound(at, at)
	if b == 0 {
		return at
	}
	worst, wide := at, w.doubtAt(at, x)
	for _, t := range [...]int64{at - b, at + b, plus(w.after, 1), w.FailedAt, plus(w.FailedAt, 1), w.KnownUntil, plus(w.KnownUntil, 1), w.Until} {
		if t < at-b || t > at+b {
			continue
		}
		if d := w.doubtAt(t, x); d > wide {
			worst, wide = t, d
		}
	}
	return worst
}

// doubtAt is how little is known of the error at a time: the width of its bracket
// [K], nothing where it is not in doubt, and more than any where it is unknown.
func (w windowed) doubtAt(t int64, x unit.Celsius) float64 {
	switch b, s := w.then(t, x); s {
	case metrology.Trusted:
		return -1
	case metrology.Known:
		return float64(b.Hi - b.Lo)
	}
	return math.Inf(1)
}

// covers says whether a reading may have been taken in the window.
func (w windowed) covers(at int64) bool {
	b := w.clock.bound(at, at)
	return at+b > w.after && at-b <= w.Until
}
