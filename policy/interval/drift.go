package interval

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
	"lastgood/policy/unit"
)

// Step is how far the error moved from one check, as left, to the next, as
// found.
type Step struct {
	Days   float64
	Change unit.CelsiusDiff
}

// Drift is an error that moves steadily, at a rate that is known so well.
type Drift struct {
	Start, StartU unit.CelsiusDiff // the error at the last check as left, and its standard uncertainty
	Rate, RateU   float64          // [K/day], or per whatever unit of time At is asked in
}

// At is the error expected after t, and its standard uncertainty.
//
//	e = e₀ + r t
//	u² = u₀² + t² u(r)²
//
//	e₀, u₀    error at the last check as left, and its standard uncertainty [K]
//	r, u(r)   drift, and its standard uncertainty             [K per unit of t]
//
// Range:    t ≥ 0; an extrapolation, the worse the further beyond the history.
// Assumes:  a straight line; e₀ and r independent.
// Source:   JCGM 100:2008, 5.1.2; ILAC-G24 / OIML D 10, method 2 (control chart).
// Read:     second-hand, through published/metrology/drift_interval.csv.
// Departs:  nothing.
// Checked:  testdata/published/metrology/drift_interval.csv (uncertainty_growth)
func (d Drift) At(t float64) (e, u unit.CelsiusDiff) {
	return d.Start + unit.CelsiusDiff(d.Rate*t), unit.CelsiusDiff(math.Hypot(float64(d.StartU), d.RateU*t))
}

// fewSteps is the smallest number of changes that a drift is fitted to.
// Judgement: with fewer, t is so large that the line says nothing.
const fewSteps = 4

// FitDrift fits a drift to the steps of one instrument, beginning at its last
// error as left.
//
//	r = Σ tᵢ dᵢ / Σ tᵢ²;   s² = Σ (dᵢ − r tᵢ)² / (n − 1);   u(r) = s / √Σ tᵢ²
//	u₀² = s² + (δ/√12)²
//
//	tᵢ, dᵢ  time and change of step i           [day, K]
//	s       scatter of the changes               [K]
//	δ       resolution of the display            [K]
//
// Range:    at least 4 steps of more than no time.
// Assumes:  a straight line through no change in no time; a scatter that comes
// from checking and not from how long the step was.
// Source:   least squares; NCSL International RP-1 (2010), variables data. Read:
// from memory.
// Departs:  the scatter goes into u₀ in full, as what a single further check
// would show.
// Checked:  a line with known scatter worked by hand.
func FitDrift(steps []Step, last, resolution unit.CelsiusDiff) (Drift, error) {
	if len(steps) < fewSteps {
		return Drift{}, fmt.Errorf("%d changes from check to check are too few for a drift: %d", len(steps), fewSteps)
	}
	var td, tt float64
	for _, s := range steps {
		if !(s.Days > 0) {
			return Drift{}, fmt.Errorf("a change in %g days is no drift", s.Days)
		}
		td += s.Days * float64(s.Change)
		tt += s.Days * s.Days
	}
	rate, left := td/tt, 0.0
	for _, s := range steps {
		off := float64(s.Change) - rate*s.Days
		left += off * off
	}
	scatter := math.Sqrt(left / float64(len(steps)-1))
	start := math.Hypot(scatter, float64(resolution)/math.Sqrt(12))
	return Drift{Start: last, StartU: unit.CelsiusDiff(start), Rate: rate, RateU: scatter / math.Sqrt(tt)}, nil
}

// reach is the largest error that a check after t days is expected to find, to
// either side at a confidence, with Student's factor for n − 1 degrees of freedom.
func (d Drift) reach(t float64, n int, confidence float64) unit.CelsiusDiff {
	k := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 1)}.Quantile((1 + confidence) / 2)
	e, u := d.At(t)
	return unit.CelsiusDiff(math.Abs(float64(e)) + k*float64(u))
}

// left is the error the check left the instrument with.
func (c Check) left() *unit.CelsiusDiff {
	if c.LeftError != nil {
		return c.LeftError
	}
	return c.FoundError
}
