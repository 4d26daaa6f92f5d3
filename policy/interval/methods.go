package interval

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// ReductionFactor is how much shorter an interval has to become after a failure
// if it becomes longer by the share increase after every pass, so that it comes
// to rest where the share reliability of checks passes.
//
//	(1 + a)^R (1 − b)^(1−R) = 1
//	b = 1 − (1 + a)^(−R / (1 − R))
//
//	a  increase after a pass          [1]
//	b  decrease after a failure       [1]
//	R  reliability aimed at           [1]
//
// Range:    a > 0, 0 < R < 1.
// Assumes:  the mean of the logarithm of the interval is steady.
// Source:   NCSL International RP-1 (2010), method A1, simple response (the
// staircase of ILAC-G24 / OIML D 10, method 1); the relation from memory.
// Departs:  nothing.
// Checked:  testdata/published/metrology/drift_interval.csv
func ReductionFactor(increase, reliability float64) (float64, error) {
	if !(increase > 0) || math.IsInf(increase, 1) || !inside(reliability) {
		return 0, fmt.Errorf("no reduction goes with an increase of %g and a reliability of %g", increase, reliability)
	}
	return -math.Expm1(-reliability / (1 - reliability) * math.Log1p(increase)), nil
}

// SimpleResponse is the next interval by the staircase: longer by the share
// increase after a pass, shorter by the share decrease after a failure.
//
//	I' = I (1 + a) within tolerance;  I' = I (1 − b) outside
//
// Source:   as ReductionFactor.
// Departs:  nothing.
// Checked:  property: over a share R of passes it comes to rest.
func SimpleResponse(days, increase, decrease float64, within bool) float64 {
	if within {
		return days * (1 + increase)
	}
	return days * (1 - decrease)
}

// AverageReliability is the share of an instrument's use that is within
// tolerance, from the probability of being so at the end of an interval.
//
//	mean of exp(−λ t) over 0..T = (1 − R) / (−ln R),   R = exp(−λT)
//
//	R  reliability at the end of the interval  [1]
//
// Range:    0 < R < 1.
// Assumes:  a constant failure rate.
// Source:   NASA Reference Publication 1342 (1994), appendix D.4. Read:
// second-hand, through published/metrology/drift_interval.csv.
// Departs:  nothing.
// Checked:  testdata/published/metrology/drift_interval.csv
func AverageReliability(atEnd float64) (float64, error) {
	if !inside(atEnd) {
		return 0, fmt.Errorf("a reliability lies between 0 and 1, not at %g", atEnd)
	}
	return (1 - atEnd) / -math.Log(atEnd), nil
}

// ForReliability is the interval at whose end the reliability is target, if at
// the end of the present one it is observed; in the unit of the present one.
//
//	T' = T ln R' / ln R
//
//	T, R    present interval and its observed reliability
//	T', R'  new interval and the reliability aimed at
//
// Range:    T > 0, 0 < R < 1, 0 < R' < 1.
// Assumes:  a constant failure rate, R(t) = exp(−λt).
// Source:   NASA Reference Publication 1342 (1994) and NCSL International RP-1
// (2010), method S1, exponential model. Read: second-hand, as above.
// Departs:  nothing.
// Checked:  testdata/published/metrology/drift_interval.csv
func ForReliability(present, observed, target float64) (float64, error) {
	if !(present > 0) || !inside(observed) || !inside(target) {
		return 0, fmt.Errorf("no interval follows from %g with a reliability of %g for one of %g", present, observed, target)
	}
	return present * math.Log(target) / math.Log(observed), nil
}

// Advice is what a test of the present interval says.
type Advice string

// The advices.
const (
	Keep     Advice = "keep"
	Shorten  Advice = "shorten"
	Lengthen Advice = "lengthen"
)

// Test is whether the observed reliability differs from the one aimed at.
type Test struct {
	Within, Of int
	Low, High  float64 // limits of the reliability
	Advice     Advice
}

// TestInterval keeps an interval unless the observed reliability differs from
// target by more than chance.
//
//	lower limit: the (1 − γ)/2 quantile of Beta(k, n − k + 1),  0 if k = 0
//	upper limit: the (1 + γ)/2 quantile of Beta(k + 1, n − k),  1 if k = n
//
//	n, k  checks at the end of the interval, and those within tolerance
//	γ     confidence, two-sided                                  [1]
//
// Range:    0 ≤ k ≤ n, n ≥ 1, 0 < γ < 1.
// Assumes:  intervals of about one length, results independent.
// Source:   NCSL International RP-1 (2010), method A3, interval test; limits by
// Clopper and Pearson (1934). Read: second-hand, as above.
// Departs:  nothing.
// Checked:  testdata/published/metrology/drift_interval.csv
func TestInterval(within, of int, target, confidence float64) (Test, error) {
	if of < 1 || within < 0 || within > of || !inside(target) || !inside(confidence) {
		return Test{}, fmt.Errorf("%d of %d checks cannot be held against %g at a confidence of %g", within, of, target, confidence)
	}
	t := Test{Within: within, Of: of, High: 1, Advice: Keep}
	k, n := float64(within), float64(of)
	if within > 0 {
		t.Low = distuv.Beta{Alpha: k, Beta: n - k + 1}.Quantile((1 - confidence) / 2)
	}
	if within < of {
		t.High = distuv.Beta{Alpha: k + 1, Beta: n - k}.Quantile((1 + confidence) / 2)
	}
	switch {
	case t.High < target:
		t.Advice = Shorten
	case t.Low > target:
		t.Advice = Lengthen
	}
	return t, nil
}
