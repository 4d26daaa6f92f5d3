package growth

import (
	"math"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// Headroom returns by how much hotter all of s could have been, in kelvin, and
// still have grown by no more than allowed. It is negative where s grows more:
// then it is the smallest shift to colder that brings it back. It is +Inf where
// no shift is too much, −Inf where nothing is known.
//
//	h = sup{d ≥ 0 : y(s + d′) ≤ allowed for all 0 ≤ d′ ≤ d},  y as in Increase
//
// Range:    to where the coldest reading is at Tmax; beyond, nothing grows.
// Assumes:  one shift for all readings.
// Source:   the constant-shift figure of the design notes on errors, §5.
// Departs:  growth is not monotone in the shift once a reading passes the
// optimum: hotter still may be slow again, and earns nothing. The first failing
// shift is what counts, found by excluding ranges of shifts of which even the
// worst moments together stay within what is allowed.
// Checked:  by the property that just inside holds, just outside fails and
// nothing between here and there does, but for the thousandth of step.
func (m Model) Headroom(s series.Series, gap time.Duration, allowed Logs) unit.CelsiusDiff {
	e, known := m.extent(s)
	if !known {
		return unit.CelsiusDiff(math.Inf(-1))
	}
	q := shifted{m: &m, s: s, gap: gap, allowed: allowed * (1 + slack)}
	y, covered := m.increase(s, gap, 0)
	switch {
	case covered == 0: // no time to grow in: where growth would begin
		return unit.CelsiusDiff(-e.hot)
	case m.shape == endless:
		return unit.CelsiusDiff(q.endless(e, covered))
	case y > q.allowed:
		return unit.CelsiusDiff(q.colder(e))
	}
	return unit.CelsiusDiff(q.hotter(e))
}

// shifted is a series that is tried at one shift after another.
type shifted struct {
	m       *Model
	s       series.Series
	gap     time.Duration
	allowed Logs
}

// excess is the growth at a shift beyond what is allowed.
func (q *shifted) excess(shift float64) float64 {
	y, _ := q.m.increase(q.s, q.gap, shift)
	return float64(y - q.allowed)
}

// endless returns the headroom of a square root model. From the shift d₀ on that
// puts every reading at or above Tmin the growth is a parabola,
//
//	y(d₀ + x) = y(d₀) + βx + b²tx²        t: the time that is counted
//
// of which two points are enough; its root is written so that nothing cancels. A
// root where some readings do not grow is searched for.
func (q *shifted) endless(e ends, covered time.Duration) float64 {
	start := max(0, -e.cold)
	curved := q.m.factor * q.m.hourly * covered.Hours()
	over := q.excess(start)
	slope := q.excess(start+1) - over - curved
	if d := slope*slope - 4*curved*over; d >= 0 {
		if x := -2 * over / (slope + math.Sqrt(d)); start+x >= -e.cold {
			return start + x
		}
	}
	return q.root(min(-e.hot, 0), start)
}

// hotter returns the first shift from 0 up at which s fails. While every reading
// is below the optimum growth rises with the shift, and that part has one root.
func (q *shifted) hotter(e ends) float64 {
	from := 0.0
	if rising := q.m.opt - e.hot; rising > 0 {
		if q.excess(rising) > 0 {
			return q.root(0, rising)
		}
		from = rising
	}
	if h, ok := q.first(from, q.m.top-e.cold); ok {
		return h
	}
	return math.Inf(1)
}

// colder returns the first shift from 0 down at which s holds. With its hottest
// reading at Tmin it does.
func (q *shifted) colder(e ends) float64 {
	from := 0.0
	if rising := q.m.opt - e.hot; rising < 0 {
		if h, ok := q.last(rising, 0); ok {
			return h
		}
		from = rising
	}
	return q.root(-e.hot, from)
}

// tight is how well a root is known [K], a tenth of the step temperatures are
// compared in.
const tight = 1e-7

// step is the narrowest range of shifts [K] that is looked into: a twentieth of
// the fall beyond the optimum. What exceeds only within one, and at neither of
// its ends, exceeds by about a thousandth at most.
func (q *shifted) step() float64 { return min(0.1, (q.m.top-q.m.opt)/20) }

// first returns the first failing shift between lo, which holds, and hi. A range
// in which even the highest rate of every moment is allowed is passed over.
func (q *shifted) first(lo, hi float64) (float64, bool) {
	b := bounds{m: q.m, cold: q.s, hot: q.s, colder: lo, hotter: hi, worst: true}
	if y, _ := b.within(q.gap); y <= q.allowed {
		return 0, false
	}
	if hi-lo <= q.step() {
		if q.excess(hi) <= 0 {
			return 0, false
		}
		return q.root(lo, hi), true
	}
	mid := lo + (hi-lo)/2
	if h, ok := q.first(lo, mid); ok {
		return h, true
	}
	return q.first(mid, hi)
}

// last returns the last holding shift between lo and hi, which fails. A range in
// which even the lowest rate of every moment is too much is passed over.
func (q *shifted) last(lo, hi float64) (float64, bool) {
	b := bounds{m: q.m, cold: q.s, hot: q.s, colder: lo, hotter: hi}
	if y, _ := b.within(q.gap); y > q.allowed {
		return 0, false
	}
	if hi-lo <= q.step() {
		if q.excess(lo) > 0 {
			return 0, false
		}
		return q.root(lo, hi), true
	}
	mid := lo + (hi-lo)/2
	if h, ok := q.last(mid, hi); ok {
		return h, true
	}
	return q.last(lo, mid)
}

// root returns the shift at which s begins to fail between lo, which holds, and
// hi, which fails. It takes the secant, weighted
// as in the Illinois method; a point that falls on an end is moved inside, so
// that the bracket closes from both sides.
func (q *shifted) root(lo, hi float64) float64 {
	below, above := q.excess(lo), q.excess(hi)
	side := 0
	for n := 0; hi-lo > tight; n++ {
		x := lo + (hi-lo)/2
		if n < secants {
			x = min(max((lo*above-hi*below)/(above-below), lo+tight/2), hi-tight/2)
		}
		y := q.excess(x)
		switch {
		case y <= 0:
			lo, below = x, y
			if side < 0 {
				above /= 2
			}
			side = -1
		default:
			hi, above = x, y
			if side > 0 {
				below /= 2
			}
			side = 1
		}
	}
	return lo
}

// secants is after how many of them plain halving takes over.
const secants = 40
