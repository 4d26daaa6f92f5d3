package limit

import (
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// holes are what a record does not say.
type holes struct {
	known, unknown int
	gaps           int
	from, to       int64 // the first gap [µs]
	firstUnknown   int   // index of the first unknown sample
}

// any says whether the record leaves anything out.
func (h holes) any() bool { return h.gaps > 0 || h.unknown > 0 || h.known == 0 }

// look finds the holes of s. An interval longer than gapAfter [µs] is a gap, the
// one before the first reading and the one after the last included where the
// ends of the lot's time are known; 0 means that gaps do not matter.
func look(s series.Series, gapAfter int64) holes {
	var h holes
	last, started := s.Start, s.Start != 0
	for i, r := range s.Samples {
		if r.T == unit.Unknown {
			if h.unknown == 0 {
				h.firstUnknown = i
			}
			h.unknown++
		} else {
			h.known++
		}
		if started && gapAfter > 0 && r.At-last > gapAfter {
			h.gap(last, r.At)
		}
		last, started = r.At, true
	}
	if started && s.End != 0 && gapAfter > 0 && s.End-last > gapAfter {
		h.gap(last, s.End)
	}
	return h
}

func (h *holes) gap(from, to int64) {
	if h.gaps == 0 {
		h.from, h.to = from, to
	}
	h.gaps++
}
