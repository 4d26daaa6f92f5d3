package sampling

import (
	"fmt"
	"math"
	"math/big"
	"sort"

	"gonum.org/v1/gonum/stat/distuv"
)

// Proves is the largest share of defective units that n samples with found
// defective ones among them still allow, at a confidence: 60 clean samples allow
// 4.9 % at 95 %.
//
//	pu :  Σ i=0..k  C(n, i) puⁱ (1 − pu)ⁿ⁻ⁱ = 1 − γ
//	pu = the γ quantile of Beta(k + 1, n − k);  k = 0: pu = 1 − (1 − γ)^(1/n)
//
//	n, k  samples, and how many of them were defective
//	γ     confidence, one-sided                                  [1]
//	pu    upper bound of the share of defective units            [1]
//
// Range:    0 ≤ k ≤ n ≤ MaxSamples, 0 < γ < 1; k = n gives 1.
// Assumes:  samples drawn at random, a large lot (else ProvesLot), a test
// without error.
// Source:   Clopper and Pearson, Biometrika 26 (1934) 404–413. Read: from memory.
// Departs:  nothing.
// Checked:  testdata/published/metrology/sampling_plans.csv (sections
// zero_found_upper_limit, oc_points_computed), testdata/golden/oracle_sampling.csv
func Proves(n, found int, confidence float64) (float64, error) {
	if err := verifyConfidence(confidence); err != nil {
		return 0, err
	}
	if n < 1 || n > MaxSamples || found < 0 || found > n {
		return 0, fmt.Errorf("%d defective of %d samples is not possible: from 1 to %d samples", found, n, MaxSamples)
	}
	switch found {
	case n:
		return 1, nil
	case 0:
		return -math.Expm1(math.Log1p(-confidence) / float64(n)), nil
	}
	return distuv.Beta{Alpha: float64(found + 1), Beta: float64(n - found)}.Quantile(confidence), nil
}

// ProvesLot is the largest number of defective units in the lot, those in the
// samples included, that the samples still allow. So many defective units are
// allowed unless finding as few as this has a probability of at most 1 − γ;
// exactly equal counts as proven, as in SampleSizeLot.
//
//	Du = max { D : Σ i=0..k C(D, i) C(N − D, n − i) / C(N, n) > 1 − γ }
//
//	N     units in the lot
//	n, k  samples, and how many of them were defective
//	γ     confidence, one-sided                                  [1]
//
// Range:    up to MaxLot units and MaxSamples samples, n ≤ N, 0 < γ < 1.
// Assumes:  samples drawn at random without putting back, a test without error.
// Source:   inversion of the hypergeometric test. Read: from memory.
// Departs:  nothing; γ is taken as the decimal it is written as.
// Checked:  testdata/golden/oracle_sampling.csv
func ProvesLot(n, found, lot int, confidence float64) (int, error) {
	if err := verifyConfidence(confidence); err != nil {
		return 0, err
	}
	if err := verifyLot(lot, n); err != nil {
		return 0, err
	}
	if found < 0 || found > n {
		return 0, fmt.Errorf("%d defective of %d samples is not possible", found, n)
	}
	doubt := doubt(confidence)
	most := lot - (n - found) // what was found good is good
	excluded := func(more int) bool {
		return passesLot(n, found, lot, found+more+1, 0).Cmp(doubt) <= 0
	}
	return found + sort.Search(most-found, excluded), nil
}

// doubt is 1 − γ, exactly.
func doubt(confidence float64) *big.Rat {
	return new(big.Rat).Sub(one, decimal(confidence))
}
