package metrology

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"lastgood/policy/unit"
)

// ConformProbability is the probability that a quantity lies within its
// tolerance interval, given one measurement of it.
//
//	P = F((hi − y)/u) − F((lo − y)/u)
//
//	y       the estimate                                 [any one unit]
//	u       its standard uncertainty                     [same]
//	lo, hi  the interval; an infinite end is one-sided   [same]
//	F       standard normal distribution function Φ, or Student's t with finite
//	        degrees of freedom
//
// Range:   u ≥ 0; with u = 0 the answer is 1 within the interval, ends
// included, and 0 outside; u that is not a number gives one that is not.
// Assumes: no knowledge of the quantity before the measurement.
// Source:  JCGM 106:2012, 7.4. Read: second-hand, through
// published/metrology/conformity_decision.csv.
// Departs: Student's t for few repeats, after design notes on errors, §5.
// Checked: conformity_decision.csv CD0094, CD0095, CD0115 to CD0194.
func ConformProbability(y, lo, hi, u, dof float64) float64 {
	if u == 0 {
		if y >= lo && y <= hi {
			return 1
		}
		return 0
	}
	below, above := (lo-y)/u, (hi-y)/u
	if below > 0 { // both in the upper tail: taken in the lower one, where no digits are lost
		below, above = -above, -below
	}
	return max(0, cumulative(above, dof)-cumulative(below, dof))
}

// cumulative is F of ConformProbability.
func cumulative(z, dof float64) float64 {
	if dof == 0 || dof >= manyDoF || math.IsNaN(z) {
		return distuv.UnitNormal.CDF(z)
	}
	return distuv.StudentsT{Sigma: 1, Nu: whole(dof)}.CDF(z)
}

// PriorSpread is the standard deviation of the errors of instruments of which a
// share is in tolerance.
//
//	σ = T / Φ⁻¹((1 + R)/2)
//
//	T  tolerance, the same on both sides  [any one unit]
//	R  share in tolerance, 0 < R < 1      [1]
//
// Range:   0 < R < 1, T > 0, else not a number or infinite.
// Assumes: normal errors about zero.
// Source:  NASA RP 1342 (1994), appendix D.4. Read: second-hand, through
// published/metrology/conformity_decision.csv.
// Departs: nothing.
// Checked: conformity_decision.csv CD0196.
func PriorSpread(tolerance, share float64) float64 {
	if !(share > 0 && share < 1) {
		return math.NaN()
	}
	return tolerance / distuv.UnitNormal.Quantile((1+share)/2)
}

// conform is the probability that an error lies within a tolerance. Without
// uncertainty it is compared exactly.
func conform(e, tolerance unit.Diff, u unit.CelsiusDiff, dof float64) float64 {
	if u == 0 {
		if abs(ninths(e)) <= ninths(tolerance) {
			return 1
		}
		return 0
	}
	t := float64(tolerance.Kelvin())
	return ConformProbability(float64(e.Kelvin()), -t, t, float64(u), dof)
}

// weigh is the verdict on an error by probability.
//
//	pass          P ≥ c
//	fail          B ≥ c, which makes P ≤ 1 − c
//	inconclusive  otherwise
//
//	P  probability that the error lies within the tolerance          [1]
//	B  probability that it lies beyond it, on the side that it shows [1]
//	c  the rule's confidence, above ½                                [1]
//
// Range:   any error; inconclusive for an uncertainty that is not a number.
// Source:  JCGM 106:2012, 8.3.2, the acceptance limit by conformance
// probability, on both sides. Read: as ConformProbability.
// Departs: it names the zone between, which the source gives to either side; and
// B, not P, fails. With an uncertainty far above the tolerance P is small for any
// error, and would fail an instrument of which nothing is known.
// Checked: conformity_decision.csv CD0115 to CD0194.
func (r Rule) weigh(e, tolerance unit.Diff, u unit.CelsiusDiff, dof float64) Verdict {
	p := conform(e, tolerance, u, dof)
	beyond := 1 - p
	if u != 0 {
		beyond = ConformProbability(math.Abs(float64(e.Kelvin())), float64(tolerance.Kelvin()), math.Inf(1), float64(u), dof)
	}
	switch c := r.confidence(); {
	case p >= c:
		return Pass
	case beyond >= c:
		return Fail
	}
	return Inconclusive
}

// confidence is c; what is no confidence stands for the usual 0.95.
func (r Rule) confidence() float64 {
	if r.Confidence > 0.5 && r.Confidence < 1 {
		return r.Confidence
	}
	return 0.95
}

// risk is the probability that the conclusion of a verdict is wrong, where p is
// the probability of conformity. Inconclusive concludes nothing.
func (v Verdict) risk(p float64) float64 {
	switch v {
	case Pass:
		return 1 - p
	case Fail:
		return p
	}
	return 0
}
