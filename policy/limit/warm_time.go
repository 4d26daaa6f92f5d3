package limit

import (
	"math"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// intervals calls f with every interval of s that counts, and the hotter of its
// two ends. The ones to the known start and end of the lot count; those longer
// than gap and those with an unknown end do not.
func intervals(s series.Series, gap int64, f func(dt int64, hotter unit.Micro)) {
	last, t, known := s.Start, unit.Unknown, s.Start != 0
	for i := range s.Samples {
		r := &s.Samples[i]
		if r.T == unit.Unknown {
			known = false
			continue
		}
		if dt := r.At - last; known && dt > 0 && dt <= gap {
			f(dt, max(t, r.T))
		}
		last, t, known = r.At, r.T, true
	}
	if dt := s.End - last; s.End != 0 && known && len(s.Samples) > 0 && dt > 0 && dt <= gap {
		f(dt, t)
	}
}

// warmth is what a record says of the time at or above a temperature.
type warmth struct {
	time    int64 // [µs]
	covered bool  // some time was counted, warm or not
	holes   holes
}

// warm adds up the time at or above low. A record without holes, as most are, is
// read once, in a loop that has no decisions to guess.
func warm(s series.Series, gap int64, low unit.Micro) warmth {
	n := len(s.Samples)
	if n == 0 {
		return warmth{holes: look(s, gap)}
	}
	was, at := s.Samples[0].T, s.Samples[0].At
	cold, hot := was, was
	var sum, longest int64
	for i := 1; i < n; i++ {
		r := &s.Samples[i]
		dt := r.At - at
		longest = max(longest, dt)
		cold, hot = min(cold, r.T), max(hot, r.T)
		if max(was, r.T) < low {
			dt = 0
		}
		sum += dt
		was, at = r.T, r.At
	}
	before, after := max(s.Samples[0].At-s.Start, 0), max(s.End-at, 0)
	if s.Start == 0 {
		before = 0
	}
	if s.End == 0 {
		after = 0
	}
	if cold == unit.Unknown || max(longest, before, after) > gap {
		return warmBesideHoles(s, gap, low)
	}
	w := warmth{sum, max(longest, before, after) > 0, holes{known: n, cold: cold, hot: hot}}
	if s.Samples[0].T >= low {
		w.time += before
	}
	if was >= low {
		w.time += after
	}
	return w
}

func warmBesideHoles(s series.Series, gap int64, low unit.Micro) warmth {
	w := warmth{holes: look(s, gap)}
	intervals(s, gap, func(dt int64, hotter unit.Micro) {
		w.covered = true
		if hotter >= low {
			w.time += dt
		}
	})
	return w
}

// bins is how many parts warmest looks at in one pass: three settle any record.
const bins = 2048

// stretch is an interval with the hotter of its two ends.
type stretch struct {
	dt int64
	t  unit.Micro
}

// warmest returns the hottest temperature that product was at, or above, for more
// than a time [µs]; false if it was nowhere so long.
//
//	max v with Σ Δtᵢ over the intervals with an end at or above v > time
//
// It is exact: the part of the scale in which it lies is divided until it is one
// millionth wide, and only the intervals in that part are looked at again.
func warmest(s series.Series, gap, time int64) (unit.Micro, bool) {
	lo, hi := unit.Micro(math.MaxInt64), unit.Micro(math.MinInt64)
	var all int64
	list := make([]stretch, 0, len(s.Samples)+1)
	intervals(s, gap, func(dt int64, t unit.Micro) {
		lo, hi, all = min(lo, t), max(hi, t), all+dt
		list = append(list, stretch{dt, t})
	})
	if all <= time {
		return 0, false
	}
	var above int64 // time above hi; the answer lies from lo to hi
	for lo < hi {
		width := (hi-lo)/bins + 1
		per := 1 / float64(width)
		var in [bins + 1]int64
		bin := func(t unit.Micro) int { return int(float64(t-lo) * per) }
		for _, x := range list {
			in[bin(x.t)] += x.dt
		}
		k := bins
		for above+in[k] <= time {
			above += in[k]
			k--
		}
		left := list[:0]
		lowest, highest := hi, lo
		for _, x := range list {
			if bin(x.t) == k {
				left = append(left, x)
				lowest, highest = min(lowest, x.t), max(highest, x.t)
			}
		}
		list, lo, hi = left, lowest, highest
	}
	return lo, true
}
