package interval

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// failureRate is the rate at which the instrument goes out of tolerance that
// makes its history likeliest [1/day]; false if every check found it outside,
// when no rate is too high.
//
//	Σ outside tᵢ / (exp(λ tᵢ) − 1) = Σ within tᵢ,   R(t) = exp(−λ t)
//
//	tᵢ  length of interval i                    [day]
//	λ   failure rate, the same at any age      [1/day]
//	R   probability of being still within tolerance after t  [1]
//
// Range:    at least one interval; 0 if none ended outside.
// Assumes:  failures that come at any age alike and do not heal; when within the
// interval is not known. Wear that grows with age is not in it: see Drift.
// Source:   NCSL International RP-1, method S2 (maximum likelihood on as-found
// results), exponential model. Read: second-hand, through
// published/metrology/drift_interval.csv.
// Departs:  nothing.
// Checked:  for equal intervals against −ln(within/all)/t, and the model's own
// rows of testdata/published/metrology/drift_interval.csv.
func failureRate(spans []span) (float64, bool) {
	var within float64
	outside := 0
	for _, s := range spans {
		if s.outside {
			outside++
		} else {
			within += s.days
		}
	}
	switch {
	case outside == 0:
		return 0, len(spans) > 0
	case within == 0:
		return 0, false
	}
	excess := func(rate float64) float64 {
		sum := -within
		for _, s := range spans {
			if s.outside {
				sum += s.days / math.Expm1(rate*s.days)
			}
		}
		return sum
	}
	// 1/λ exceeds t/(exp(λt) − 1) by at most t, so the root is below this.
	low, high := 0.0, float64(outside)/within
	for range 200 {
		mid := (low + high) / 2
		if excess(mid) > 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return high, true
}

// failureRateBound is the highest failure rate that the history still allows at
// a confidence [1/day]; +Inf if it allows any.
//
//	λu = χ²(γ; 2F + 2) / (2 A)
//
//	F  number of checks that found it outside                       [1]
//	A  days in intervals that ended within tolerance               [day]
//	γ  confidence, one-sided                                        [1]
//
// Range:    0 < γ < 1.
// Assumes:  as failureRate.
// Source:   Poisson bound of a rate by Garwood, Biometrika 28 (1936) 437–442.
// Read:     from memory.
// Departs:  the days of intervals that ended outside are left out of A, since
// nobody knows how many of them were good: a higher bound, never a lower one.
// Checked:  property: for equal intervals never below the binomial bound.
func failureRateBound(spans []span, confidence float64) float64 {
	var within, outside float64
	for _, s := range spans {
		if s.outside {
			outside++
		} else {
			within += s.days
		}
	}
	if within == 0 {
		return math.Inf(1)
	}
	return distuv.ChiSquared{K: 2*outside + 2}.Quantile(confidence) / (2 * within)
}

// affected is the mean time from going wrong to the check that shows it, given
// that it went wrong in the interval.
//
//	a = T − 1/λ + T / (exp(λT) − 1);   λ → 0:  T/2 + λT²/12
//
//	T  interval      [day]
//	λ  failure rate [1/day]
//
// Range:    T > 0, λ ≥ 0.
// Assumes:  as failureRate.
// Source:   mean of an exponential cut off at T; deduction.
// Departs:  nothing.
// Checked:  property: between T/2 and T, and against the sum over small steps.
func affected(interval, rate float64) float64 {
	if x := rate * interval; x < 1e-4 {
		return interval/2 + x*interval/12
	}
	return interval - 1/rate + interval/math.Expm1(rate*interval)
}
