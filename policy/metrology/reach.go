package metrology

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"lastgood/policy/unit"
)

// NewDoubt works out, from all that is known of an instrument around a failed
// check, which readings are in doubt and by how much.
//
// It refuses facts that contradict themselves; whatever is merely missing makes
// the answer Unknown, and Notes say so.
func NewDoubt(f Facts) (*Doubt, error) {
	if err := f.verify(); err != nil {
		return nil, err
	}
	d := newDossier(f)
	doubt := &Doubt{FailedAt: f.Checks[f.Failed].At, checked: d.checked()}
	doubt.Until = d.until()
	later := d.later(doubt)
	for _, r := range d.reaches() {
		in := span{float64(r.Lo), float64(r.Hi)}
		if !r.Clear {
			r.Before = d.before(r)
			r.Later = later(in)
		}
		doubt.Reaches = append(doubt.Reaches, r)
	}
	doubt.Event = d.dated(doubt)
	doubt.Notes = d.notes(doubt)
	return doubt, nil
}

// dated is Doubt.Event. The event dates the onset for a model only; the bracket
// takes no notice.
func (d *dossier) dated(doubt *Doubt) int64 {
	after, _, _ := doubt.Window()
	for _, e := range d.Events {
		known := e.Kind == Dropped || e.Kind == Moved || e.Kind == OtherEvent && e.Note != ""
		if known && e.At > after && e.At <= doubt.FailedAt {
			return e.At
		}
	}
	return 0
}

// reaches splits the temperatures by their last good check. Backward from the
// failed check, each check takes the temperatures that it proves and that no
// later one has taken; the rest has none.
func (d *dossier) reaches() []Reach {
	rest := spans{everywhere}
	var out []Reach
	for i := d.Failed - 1; i >= 0 && len(rest) > 0; i-- {
		if d.good(i) {
			out = append(out, d.split(rest.and(d.sides[i].leftOK), i, d.Checks[i].At)...)
			rest = rest.and(d.sides[i].leftOK.not())
		}
	}
	out = append(out, d.split(rest, -1, d.start())...)
	sort.Slice(out, func(i, j int) bool { return out[i].Lo < out[j].Lo })
	return out
}

// split makes reaches of the temperatures with one last good check: those where
// the failed check itself clearly passed, as found and as left, are in no
// doubt, unless it was made too late or something happened in between that no
// later pass can mend.
func (d *dossier) split(at spans, lastGood int, after int64) []Reach {
	failed := d.sides[d.Failed]
	clear := failed.foundOK.and(failed.leftOK)
	if d.Late || d.disturbed(after, d.Checks[d.Failed].At) != "" {
		clear = nil
	}
	trusted := after
	if lastGood < 0 {
		trusted = beginning
	}
	var out []Reach
	for _, s := range at.and(clear.not()) {
		out = append(out, Reach{Lo: unit.Celsius(s.lo), Hi: unit.Celsius(s.hi), LastGood: lastGood, After: after, trusted: trusted})
	}
	for _, s := range at.and(clear) {
		out = append(out, Reach{Lo: unit.Celsius(s.lo), Hi: unit.Celsius(s.hi), Clear: true,
			LastGood: d.Failed, After: d.Checks[d.Failed].At, trusted: open})
	}
	return out
}

// before is the band from the last good check to the failed one.
func (d *dossier) before(r Reach) Band {
	failed := d.Checks[d.Failed]
	switch why := d.disturbed(r.After, failed.At); {
	case d.sides[d.Failed].found == nil:
		return Band{Why: d.noAsFound()}
	case r.LastGood < 0:
		return Band{Why: "no check that it clearly passed covers this temperature" + d.since()}
	case why != "":
		return Band{Why: why}
	}
	e := evidence{old: d.sides[r.LastGood].left, found: d.sides[d.Failed].found}
	for i := r.LastGood + 1; i < d.Failed; i++ {
		e.inside = slices.Concat(e.inside, d.sides[i].found, d.sides[i].left)
	}
	return d.bracket(e, span{float64(r.Lo), float64(r.Hi)})
}

// later returns the band from the failed check to the end of the window, for
// any range of temperature, and sets KnownUntil. It rests on every as-found and
// as-left value up to the first as-found one at or after the end.
func (d *dossier) later(doubt *Doubt) func(span) Band {
	doubt.KnownUntil = doubt.Until
	unknown := func(why string) func(span) Band { return func(span) Band { return Band{Why: why} } }
	if doubt.Until <= doubt.FailedAt {
		return unknown("")
	}
	last := d.bounding(doubt.Until)
	switch {
	case d.sides[d.Failed].found == nil:
		return unknown(d.noAsFound())
	case d.Checks[d.Failed].leftUnknown():
		return unknown("it was adjusted or repaired at the failed check and how it was left was not recorded")
	case last < 0:
		return unknown("no as-found value was taken since the failed check")
	}
	end := d.Checks[last].At
	if why := d.disturbed(doubt.FailedAt, end); why != "" {
		return unknown(why)
	}
	doubt.KnownUntil = min(end, doubt.Until)
	// Until it is taken out of use it carries what was found; the next as-found
	// value is the other end of the hull.
	e := evidence{old: d.sides[last].found, found: d.sides[d.Failed].found, inside: d.sides[d.Failed].left}
	for i := d.Failed + 1; i < last; i++ {
		e.inside = slices.Concat(e.inside, d.sides[i].found, d.sides[i].left)
	}
	return func(in span) Band { return d.bracket(e, in) }
}

// bounding is the first check with an as-found value at or after until, else
// the last one since the failed check; −1 if there is none.
func (d *dossier) bounding(until int64) int {
	last := -1
	for i := d.Failed + 1; i < len(d.Checks); i++ {
		if d.sides[i].found == nil {
			continue
		}
		last = i
		if d.Checks[i].At >= until {
			break
		}
	}
	return last
}

func (d *dossier) bracket(e evidence, in span) Band {
	return e.band(in, d.Rule, float64(d.UseUncertainty))
}

// until is when the window ends: the instrument was taken out of use, or the
// failed check left it good, or a later check found or left it good. Something
// taken out of use that came back without such a check is still in doubt.
func (d *dossier) until() int64 {
	end := int64(open)
	for i := d.Failed; i < len(d.Checks); i++ {
		if d.settles(i) {
			end = d.Checks[i].At
			break
		}
	}
	out := int64(open)
	for _, e := range d.Events {
		if e.At < d.Checks[d.Failed].At || e.At >= end {
			continue
		}
		switch {
		case e.Kind == RemovedFromUse && out == open:
			out = e.At
		case e.Kind == ReturnedToUse:
			out = open
		}
	}
	return min(end, out)
}

// checked is the span of the failed check's indications, or of the nearest
// earlier check that has some; everything if nobody ever checked it.
func (d *dossier) checked() span {
	for i := d.Failed; i >= 0; i-- {
		s := span{math.Inf(1), math.Inf(-1)}
		for _, p := range d.Checks[i].Points {
			for _, m := range []*unit.Micro{p.Found, p.Left} {
				if m != nil {
					x := float64(unit.ToCelsius(*m, p.Reference.Scale))
					s = span{min(s.lo, x), max(s.hi, x)}
				}
			}
		}
		if s.lo <= s.hi {
			return s
		}
	}
	return everywhere
}

// noAsFound says why the failed check has no as-found value to go by.
func (d *dossier) noAsFound() string {
	c := d.Checks[d.Failed]
	if c.Untrusted != "" {
		return "the check that failed is no check: " + c.Untrusted
	}
	if d.Late {
		return "the check was overdue, and no as-found value taken since bounds the error"
	}
	return "there is no as-found value at the check that failed"
}

// since says since when there is no good check.
func (d *dossier) since() string {
	if d.InServiceFrom == 0 {
		return "; when it went into service is not recorded"
	}
	return fmt.Sprintf(" since it went into service on %s", day(d.InServiceFrom))
}
