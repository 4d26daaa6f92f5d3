package sampling

import (
	"fmt"
	"math"
	"math/big"
	"sort"
)

// SampleSize is the smallest number of samples that finds at least one defective
// unit with the confidence, if the share of them in a large lot is defective.
// Exactly equal is enough: the chance of finding none may be 1 − γ itself.
//
//	n = min { n : (1 − p)ⁿ ≤ 1 − γ } = ⌈ ln(1 − γ) / ln(1 − p) ⌉
//
//	p  share of defective units  [1]
//	γ  confidence                [1]
//
// Range:    0 < p ≤ 1, 0 < γ < 1, n up to 10⁹; the logarithms give the
// neighbourhood and an exact comparison decides.
// Assumes:  samples drawn at random, a large lot (else SampleSizeLot), a test
// without error.
// Source:   binomial distribution. Read: from memory.
// Departs:  nothing; p and γ are taken as the decimals they are written as.
// Checked:  testdata/published/metrology/sampling_plans.csv (n_needed_computed)
func SampleSize(defective, confidence float64) (int, error) {
	if err := verifyConfidence(confidence); err != nil {
		return 0, err
	}
	if !(defective > 0 && defective <= 1) {
		return 0, fmt.Errorf("%g is no share of defective units to look for: above 0, at most 1", defective)
	}
	if defective == 1 {
		return 1, nil
	}
	about := math.Log1p(-confidence) / math.Log1p(-defective)
	if about > 1e9 {
		return 0, fmt.Errorf("a share of %g cannot be looked for by sampling: it needs about %.1g samples", defective, about)
	}
	clean := new(big.Rat).Sub(one, decimal(defective))
	limit := doubt(confidence)
	n := max(1, int(about))
	for n > 1 && enough(clean, n-1, limit) {
		n--
	}
	for !enough(clean, n, limit) {
		n++
	}
	return n, nil
}

// exactPower is how far powers of decimals are compared without rounding. Above
// it the two sides cannot be equal: a power in lowest terms has more digits than
// a float64 prints.
const exactPower = 64

// enough reports whether cleanⁿ ≤ limit.
func enough(clean *big.Rat, n int, limit *big.Rat) bool {
	if n > exactPower {
		return power(bits().SetRat(clean), n).Cmp(bits().SetRat(limit)) <= 0
	}
	e := big.NewInt(int64(n))
	top := new(big.Int).Exp(clean.Num(), e, nil)
	bottom := new(big.Int).Exp(clean.Denom(), e, nil)
	return new(big.Rat).SetFrac(top, bottom).Cmp(limit) <= 0
}

// SampleSizeLot is the smallest number of samples that finds at least one of the
// defective units in the lot with the confidence. Exactly equal is enough.
//
//	n = min { n : C(N − D, n) / C(N, n) ≤ 1 − γ }
//
//	N, D  units in the lot, defective ones among them
//	γ     confidence                                   [1]
//
// Range:    1 ≤ D ≤ N ≤ MaxLot, 0 < γ < 1. D comes as a number of units: a share
// of the lot is rounded down by the table of the source.
// Assumes:  samples drawn at random without putting back, a test without error.
// Source:   ISPM 31 (IPPC/FAO 2008), the hypergeometric tables. Read: second-hand,
// through published/metrology/sampling_plans.csv.
// Departs:  where the chance of finding none is exactly 1 − γ the table asks for
// one sample more (55 for N = 100, D = 2, 80 %).
// Checked:  testdata/published/metrology/sampling_plans.csv
func SampleSizeLot(lot, defective int, confidence float64) (int, error) {
	if err := verifyConfidence(confidence); err != nil {
		return 0, err
	}
	if lot < 1 || lot > MaxLot || defective < 1 || defective > lot {
		return 0, fmt.Errorf("%d defective units in a lot of %d cannot be looked for: a lot has 1 to %d units", defective, lot, MaxLot)
	}
	limit := doubt(confidence)
	return 1 + sort.Search(lot-defective, func(less int) bool {
		return none(lot, defective, less+1).Cmp(limit) <= 0
	}), nil
}

// none is the probability that n samples of the lot hold none of the defective
// units. Both ways of drawing give the same, and the shorter product is taken.
func none(lot, defective, n int) *big.Rat {
	few, many := int64(min(n, defective)), int64(max(n, defective))
	top := new(big.Int).MulRange(int64(lot)-many-few+1, int64(lot)-many)
	return new(big.Rat).SetFrac(top, new(big.Int).MulRange(int64(lot)-few+1, int64(lot)))
}
