package limit

import (
	"math"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// holes are what a record does not say, and between which temperatures lies what
// it says.
type holes struct {
	known, unknown int
	cold, hot      unit.Micro // of what is known
	gaps           int
	from, to       int64 // the first gap [µs]
	firstUnknown   int   // index of the first unknown sample
}

// any says whether the record leaves anything out.
func (h holes) any() bool { return h.gaps > 0 || h.unknown > 0 || h.known == 0 }

// look finds the holes of s. An interval longer than gapAfter [µs] is a gap, the
// one before the first reading and the one after the last included where the ends
// of the lot's time are known; 0 means that gaps do not matter.
func look(s series.Series, gapAfter int64) holes {
	if gapAfter == 0 {
		return unread(s.Samples)
	}
	n := len(s.Samples)
	if n == 0 {
		return listed(s, gapAfter)
	}
	last, cold, hot := s.Samples[0].At, s.Samples[0].T, s.Samples[0].T
	longest := int64(0)
	if s.Start != 0 {
		longest = last - s.Start
	}
	for i := range s.Samples {
		r := &s.Samples[i]
		longest = max(longest, r.At-last)
		cold, hot = min(cold, r.T), max(hot, r.T)
		last = r.At
	}
	if s.End != 0 {
		longest = max(longest, s.End-last)
	}
	if longest > gapAfter || cold == unit.Unknown { // colder than all
		return listed(s, gapAfter)
	}
	return holes{known: n, cold: cold, hot: hot}
}

// listed is look at a record that has holes.
func listed(s series.Series, gapAfter int64) holes {
	h := unread(s.Samples)
	last, started := s.Start, s.Start != 0
	for i := range s.Samples {
		at := s.Samples[i].At
		if started && at-last > gapAfter {
			h.gap(last, at)
		}
		last, started = at, true
	}
	if started && s.End != 0 && s.End-last > gapAfter {
		h.gap(last, s.End)
	}
	return h
}

// unread is look where gaps do not matter.
func unread(s []series.Sample) holes {
	h := holes{cold: math.MaxInt64, hot: math.MinInt64}
	cold, hot := h.cold, h.hot
	for i := range s {
		t := s[i].T
		if t == unit.Unknown {
			if h.unknown == 0 {
				h.firstUnknown = i
			}
			h.unknown++
			continue
		}
		cold, hot = min(cold, t), max(hot, t)
	}
	h.cold, h.hot, h.known = cold, hot, len(s)-h.unknown
	return h
}

func (h *holes) gap(from, to int64) {
	if h.gaps == 0 {
		h.from, h.to = from, to
	}
	h.gaps++
}

// ends returns the coldest and the hottest of what is known; false if nothing is.
func ends(s []series.Sample) (cold, hot unit.Micro, ok bool) {
	cold, hot = math.MaxInt64, math.MinInt64
	for i := range s {
		if t := s[i].T; t != unit.Unknown {
			cold, hot = min(cold, t), max(hot, t)
		}
	}
	return cold, hot, cold <= hot
}

// Silent says whether the record leaves a gap open somewhere in (after, until]
// [µs]: longer than the limit allows, the time before the first reading and after
// the last included where the ends of the lot's time are known.
func (l Limit) Silent(s series.Series, after, until int64) bool {
	longest := l.Criterion.gapAfter()
	if longest == 0 {
		return false
	}
	last, started := s.Start, s.Start != 0
	for i := range s.Samples {
		at := s.Samples[i].At
		if started && at-last > longest && last < until && at > after {
			return true
		}
		last, started = at, true
	}
	return started && s.End != 0 && s.End-last > longest && last < until && s.End > after
}
