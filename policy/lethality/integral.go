package lethality

import (
	"math"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// perMinute is how many microseconds a minute has.
const perMinute = 60_000_000

// Exact returns the lethality of s with the temperature linear between
// readings: the rule that decides. It is never larger than Trapezoid, because
// the rate is convex in the temperature.
//
//	F = Σ Δtᵢ · (Lᵢ₊₁ − Lᵢ) / ln(Lᵢ₊₁/Lᵢ)        [min]
//
//	Δtᵢ   time between two readings                        [min]
//	Lᵢ    lethal rate at a reading                         [1]
//	ln(Lᵢ₊₁/Lᵢ) = (Tᵢ₊₁ − Tᵢ)·ln 10/z; where it is near 0 the mean is taken by
//	its series (L₀+L₁)/2·(1 − x²/12 + x⁴/120)
//
// Range:    intervals longer than gap, and those that touch an unknown sample,
// earn nothing. With a floor only the part of an interval at or above it
// counts; the crossing is found linearly, the floor itself counts.
// Assumes:  the product's temperature is linear in time between readings.
// Source:   closed form of ∫10^((T−Tref)/z) dt for linear T, F = z/(ln 10·b)·
// (L₁ − L₀) with b the slope. Derived here; the same closed form stands in
// testdata/published/thermal/f0_examples_summary.csv, rows AN-01 to AN-03.
// Departs:  from the trapezoid of the rate, which published examples use:
// smaller, so conservative.
// Checked:  f0_examples_summary.csv rows AN; isothermal rows of equivalents.csv.
func (m Model) Exact(s series.Series, gap time.Duration) Minutes {
	return m.integrate(s, gap, logarithmic)
}

// Trapezoid returns the lethality of s by the trapezoid of the rate.
//
//	F = Σ Δtᵢ · (Lᵢ + Lᵢ₊₁)/2        [min]
//
// Symbols, gaps and the floor as in Exact: with a floor the trapezoid stands
// over the same part of the interval.
// Assumes:  the rate is linear in time between readings.
// Source:   the running totals of example F0-02 in
// testdata/published/thermal/f0_worked_examples.csv. Read: second-hand.
// Departs:  nothing without a floor; sources with a floor do not say what a
// crossing earns.
// Checked:  f0_worked_examples.csv F0-02 (19 totals), F0-01 as recomputed.
func (m Model) Trapezoid(s series.Series, gap time.Duration) Minutes {
	return m.integrate(s, gap, arithmetic)
}

// SumStep returns the lethality of s as the sum of the rates times the step,
// the rule of paper forms.
//
//	F = Δt · Σ Lᵢ        [min]
//
// Range:    false unless every step is the same, positive, no longer than gap,
// and nothing is unknown. Readings below the floor count nothing.
// Assumes:  each reading stands for one whole step, the last one too.
// Source:   example F0-01 in testdata/published/thermal/f0_worked_examples.csv.
// Read: second-hand.
// Departs:  nothing. Shown, never decides: it counts one step more than the
// record has.
// Checked:  f0_worked_examples.csv F0-01, 21.68993687 min.
func (m Model) SumStep(s series.Series, gap time.Duration) (Minutes, bool) {
	if len(s.Samples) < 2 {
		return 0, false
	}
	step := s.Samples[1].At - s.Samples[0].At
	if step <= 0 || step > gap.Microseconds() {
		return 0, false
	}
	var sum float64
	for i, r := range s.Samples {
		if r.T == unit.Unknown || (i > 0 && r.At-s.Samples[i-1].At != step) {
			return 0, false
		}
		if r.T >= m.from {
			sum += m.at(r.T).rate
		}
	}
	return Minutes(sum * float64(step) / perMinute), true
}

// meanRate is the mean of the rate over an interval, from the two rates and
// their logarithms.
type meanRate func(x0, rate0, x1, rate1 float64) float64

// integrate adds up, over the intervals that count, the time times the mean
// rate.
func (m Model) integrate(s series.Series, gap time.Duration, mean meanRate) Minutes {
	var (
		sum     float64
		last    point
		at      int64
		longest = gap.Microseconds()
	)
	for i, r := range s.Samples {
		p := point{t: r.T}
		if r.T >= m.from {
			p = m.at(r.T)
		}
		if dt := r.At - at; i > 0 && dt <= longest {
			if last.t >= m.from && p.t >= m.from {
				sum += float64(dt) * mean(last.x, last.rate, p.x, p.rate)
			} else {
				sum += float64(dt) * m.part(last, p, mean)
			}
		}
		last, at = p, r.At
	}
	return Minutes(sum / perMinute)
}

// part returns the mean rate over an interval of which one end at least earns
// nothing, with nothing for what lies below the floor.
func (m Model) part(a, b point, mean meanRate) float64 {
	if a.t > b.t {
		a, b = b, a
	}
	if a.t == unit.Unknown || b.t < m.from {
		return 0
	}
	return float64(b.t-m.from) / float64(b.t-a.t) * mean(m.atFloor.x, m.atFloor.rate, b.x, b.rate)
}

func arithmetic(_, rate0, _, rate1 float64) float64 { return (rate0 + rate1) / 2 }

// nearlyEqual is where the series for the logarithmic mean takes over: below
// it, its next term is under 1e-13, above it the difference of the rates has
// lost no more than two digits.
const nearlyEqual = 0.02

// logarithmic is the mean of the rate over an interval in which its logarithm
// is linear.
func logarithmic(x0, rate0, x1, rate1 float64) float64 {
	x := x1 - x0
	if math.Abs(x) < nearlyEqual {
		y := x * x
		return (rate0 + rate1) / 2 * (1 - y*(1./12-y*(1./120)))
	}
	return (rate1 - rate0) / x
}
