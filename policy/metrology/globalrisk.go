package metrology

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"
)

// Prior is what is known of the errors of many like instruments before any one
// is checked: normal about Mean with the standard deviation SD.
type Prior struct{ Mean, SD float64 }

// Risks are the shares of all checks that end wrongly.
type Risks struct {
	FalseAccept float64 // out of tolerance and passed: the consumer's risk
	FalseReject float64 // in tolerance and not passed: the producer's risk
}

// GlobalRisk is how often a check with a guard band ends wrongly, over all the
// instruments that are checked with it.
//
//	R_C = ∫ outside [−T, T]  g(η) · P(η) dη
//	R_P = ∫ inside  [−T, T]  g(η) · (1 − P(η)) dη
//	P(η) = Φ((A − η)/u) − Φ((−A − η)/u),   A = T − w
//
//	g  density of the prior, N(Mean, SD²)         [1/unit]
//	η  true error                                 [any one unit]
//	u  standard uncertainty of the check          [same]
//	T  tolerance, the same on both sides          [same]
//	w  guard band; negative accepts beyond T      [same]
//	A  acceptance limit                           [same]
//
// Range:   SD > 0, u > 0, T > 0, w < T, all finite, else an error.
// Assumes: normal prior and normal measurement, independent: the pair of true
// and measured error is bivariate normal.
// Source:  JCGM 106:2012, 9.5, global risks. Read: second-hand, through
// published/metrology/conformity_decision.csv.
// Departs: nothing; Gauss–Legendre in pieces no longer than a standard deviation,
// good to 1e-9.
// Checked: conformity_decision.csv CD0105 to CD0112, CD0203 to CD0206.
func GlobalRisk(prior Prior, u, tolerance, guard float64) (Risks, error) {
	limit := tolerance - guard
	finite := !math.IsInf(prior.SD+u+tolerance+limit+prior.Mean, 0) && !math.IsNaN(prior.Mean)
	if !(finite && prior.SD > 0 && u > 0 && tolerance > 0 && limit > 0) {
		return Risks{}, errors.New("a risk over many checks needs a spread, an uncertainty, a tolerance above 0 and a guard band below it")
	}
	before := distuv.Normal{Mu: prior.Mean, Sigma: prior.SD}
	accepted := func(eta float64) float64 {
		return before.Prob(eta) * ConformProbability(eta, -limit, limit, u, 0)
	}
	rejected := func(eta float64) float64 {
		return before.Prob(eta) * (1 - ConformProbability(eta, -limit, limit, u, 0))
	}
	const far = 9 // standard deviations; beyond lies less than 1e-18
	lo, hi := prior.Mean-far*prior.SD, prior.Mean+far*prior.SD
	at := cuts(prior, u, limit)
	return Risks{
		FalseAccept: integral(accepted, at, lo, -tolerance) + integral(accepted, at, tolerance, hi),
		FalseReject: integral(rejected, at, max(lo, -tolerance), min(hi, tolerance)),
	}, nil
}

// cuts are where pieces of the integral end: the integrands bend about the
// prior's middle and about the acceptance limits.
func cuts(prior Prior, u, limit float64) []float64 {
	var at []float64
	for i := -9.0; i <= 9; i++ {
		at = append(at, prior.Mean+i*prior.SD, limit+i*u, -limit+i*u)
	}
	slices.Sort(at)
	return at
}

// integral is that of f from a to b, in pieces between the cuts; 0 for an empty
// range.
func integral(f func(float64) float64, cuts []float64, a, b float64) float64 {
	if a >= b {
		return 0
	}
	const points = 12
	var sum float64
	for _, e := range cuts {
		if e > a && e < b {
			sum += quad.Fixed(f, a, e, points, nil, 0)
			a = e
		}
	}
	return sum + quad.Fixed(f, a, b, points, nil, 0)
}
