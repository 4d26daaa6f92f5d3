package lethality

import (
	"math"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// Headroom returns by how much colder all of s could have been, in kelvin, and
// still have earned the required minutes by the Exact rule. It is negative
// where s falls short, and −Inf where nothing was earned, so that no shift is
// of use.
//
//	without a floor   h = z · log10(F/required)        [K]
//	with a floor      the root of F(h) = required, by bisection
//
// Range:    required > 0.
// Assumes:  one shift for all readings.
// Source:   F shifts by the factor 10^(−h/z): design notes on errors, §5 of the design
// notes; derived from Rate.
// Departs:  with a floor the root is bracketed, because intervals that fall
// below the floor earn nothing at once; the result is the side that still
// holds, within 1e-9 degrees.
// Checked:  by the property that F just inside holds and just outside fails.
func (m Model) Headroom(s series.Series, gap time.Duration, required Minutes) unit.CelsiusDiff {
	if m.from == none {
		f := m.Exact(s, gap)
		if f <= 0 {
			return unit.CelsiusDiff(math.Inf(-1))
		}
		return unit.DiffToKelvin(m.degrees(f, required), m.scale)
	}
	free := m
	free.from = none
	r := free.record(s, gap)
	var f Minutes
	for _, a := range r.area {
		f += Minutes(a)
	}
	if f <= 0 {
		return unit.CelsiusDiff(math.Inf(-1))
	}
	return unit.DiffToKelvin(m.root(s, &r, m.degrees(f, required), float64(required)), m.scale)
}

// degrees is the shift that takes f to required, without a floor.
func (m Model) degrees(f, required Minutes) float64 {
	return math.Log(float64(f/required)) / (m.perStep * unit.PerDegree)
}

// record is a series with its rates, worked out once: a shift by d multiplies
// all of them by 10^(−d/z).
type record struct {
	rate []float64 // at each reading
	area []float64 // earned in the interval before each reading, no floor [min]

	whole float64 // earned in the intervals that the floor never cuts [min]
	cut   []int32 // the intervals that it may cut
}

// settle sorts the intervals by what the floor does to them anywhere in a bracket
// of shifts: nothing, all, or what has to be worked out for each shift.
func (r *record) settle(m Model, s []series.Sample, lo, hi float64) {
	lowest, highest := float64(m.from)+lo*unit.PerDegree, float64(m.from)+hi*unit.PerDegree
	for i := 1; i < len(s); i++ {
		if r.area[i] == 0 {
			continue // a gap, or nothing known
		}
		cold, hot := float64(min(s[i-1].T, s[i].T)), float64(max(s[i-1].T, s[i].T))
		switch {
		case cold >= highest:
			r.whole += r.area[i]
		case hot >= lowest:
			r.cut = append(r.cut, int32(i))
		}
	}
}

func (m Model) record(s series.Series, gap time.Duration) record {
	n := len(s.Samples)
	both := make([]float64, 2*n)
	r := record{rate: both[:n], area: both[n:]}
	var last point
	for i, x := range s.Samples {
		p := point{t: x.T}
		if x.T != unit.Unknown {
			p = m.at(x.T)
		}
		r.rate[i] = p.rate
		known := x.T != unit.Unknown && last.t != unit.Unknown
		if i > 0 && known && x.At-s.Samples[i-1].At <= gap.Microseconds() {
			r.area[i] = float64(x.At-s.Samples[i-1].At) / perMinute * logarithmic(last.x, last.rate, p.x, p.rate)
		}
		last = p
	}
	return r
}

// root returns the largest shift in degrees with which the floored integral
// still reaches required. It is at most hi, the root without the floor, and at
// least hi or the shift that puts the coldest reading on the floor, because
// there the floor takes nothing away.
//
// ln F falls nearly in proportion to the shift, so that the straight line through
// the two ends of the bracket finds the root in a few steps; where the floor
// makes F jump, the bracket is halved instead.
func (m Model) root(s series.Series, r *record, hi, required float64) float64 {
	coldest := unit.Micro(math.MaxInt64)
	for _, x := range s.Samples {
		if x.T != unit.Unknown {
			coldest = min(coldest, x.T)
		}
	}
	lo := min(hi, (coldest - m.from).Degrees())
	over := func(d float64) float64 { return math.Log(m.earned(s, r, d) / required) } // −Inf where nothing is earned
	r.settle(m, s.Samples, lo, hi)
	atHi := over(hi)
	if atHi >= 0 {
		return hi
	}
	atLo := over(lo)
	for step := 0; hi-lo > 1e-9; step++ {
		mid := lo + (hi-lo)/2
		if guess := lo + (hi-lo)*atLo/(atLo-atHi); step%3 != 2 && guess > lo && guess < hi {
			mid = m.nudge(guess, lo, hi)
		}
		if v := over(mid); v >= 0 {
			lo, atLo = mid, v
		} else {
			hi, atHi = mid, v
		}
	}
	return lo
}

// nudge moves a guess a little towards the farther end of its bracket, so that
// the root, once found, is soon enclosed from both sides.
func (m Model) nudge(guess, lo, hi float64) float64 {
	const little = 5e-10
	if guess-lo < hi-guess {
		return min(guess+little, hi)
	}
	return max(guess-little, lo)
}

// earned returns the minutes of s when all of it is d degrees colder, d within
// the bracket that r was settled for.
func (m Model) earned(s series.Series, r *record, d float64) float64 {
	factor := math.Exp(-d * unit.PerDegree * m.perStep)
	floor := float64(m.from) + d*unit.PerDegree
	sum := r.whole * factor
	for _, i := range r.cut {
		cold, hot, rate := float64(s.Samples[i-1].T), float64(s.Samples[i].T), r.rate[i]
		if cold > hot {
			cold, hot, rate = hot, cold, r.rate[i-1]
		}
		switch {
		case cold >= floor:
			sum += r.area[i] * factor
		case hot > floor:
			minutes := float64(s.Samples[i].At-s.Samples[i-1].At) / perMinute
			sum += minutes * (rate*factor - m.atFloor.rate) / (m.perStep * (hot - cold))
		}
	}
	return sum
}
