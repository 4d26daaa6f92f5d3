package sampling

import (
	"fmt"
	"math/big"
)

// Rates are the shares of units in a large lot, 0 to 1.
type Rates struct {
	Defective float64 // above m in two classes, above M in three
	Marginal  float64 // above m and not above M; three classes only
}

// Counts are numbers of units in a lot.
type Counts struct {
	Lot       int // all of them
	Defective int // above m in two classes, above M in three
	Marginal  int // above m and not above M; three classes only
}

// precision of the sums [bits]. All terms are positive, so that the relative
// error of a sum of 10,000 of them stays below 10⁻⁴⁰.
const precision = 192

// Passes is the probability that a lot with rates r passes p: over r, the
// operating characteristic of p. The lot is large against the samples.
//
//	Pa = Σ i=0..c  C(n, i) pmⁱ (1 − pm − pM)ⁿ⁻ⁱ
//
//	n, c  samples, and how many of them may be above m
//	pm    share of units that count against c          [1]
//	pM    share of units of which none may be found, 0 in two classes [1]
//
// Range:    shares from 0 to 1 that together are at most 1.
// Assumes:  samples drawn at random, a lot at least ten times the samples (else
// PassesLot), a test without error.
// Source:   binomial and trinomial sums; ICMSF, Microorganisms in Foods 2 (1986).
// Read:     second-hand, through published/metrology/sampling_plans.csv.
// Departs:  nothing.
// Checked:  testdata/published/metrology/sampling_plans.csv,
// testdata/golden/oracle_sampling.csv
func (p Plan) Passes(r Rates) (float64, error) {
	if err := p.Verify(); err != nil {
		return 0, err
	}
	counted, never, err := p.shares(r)
	if err != nil {
		return 0, err
	}
	pa, _ := passes(p.N, p.C, counted, never).Float64()
	return pa, nil
}

// shares returns the share that counts against c and the share of which none
// may be found.
func (p Plan) shares(r Rates) (counted, never *big.Rat, err error) {
	if !(r.Defective >= 0 && r.Marginal >= 0 && r.Defective <= 1 && r.Marginal <= 1) {
		return nil, nil, fmt.Errorf("%g and %g are no shares: from 0 to 1", r.Marginal, r.Defective)
	}
	counted, never = decimal(r.Marginal), decimal(r.Defective)
	if new(big.Rat).Add(counted, never).Cmp(one) > 0 {
		return nil, nil, fmt.Errorf("%g marginal and %g defective are more than all", r.Marginal, r.Defective)
	}
	if p.Classes == 2 {
		if r.Marginal != 0 {
			return nil, nil, fmt.Errorf("a plan of two classes knows no marginal units")
		}
		counted, never = never, counted
	}
	return counted, never, nil
}

var one = big.NewRat(1, 1)

// passes is the kernel of Passes.
func passes(n, c int, counted, never *big.Rat) *big.Float {
	rest := new(big.Rat).Sub(one, counted)
	rest.Sub(rest, never)
	sum := bits()
	if rest.Sign() == 0 {
		return sum // c < n, so that at least one sample would have to be good
	}
	odds := bits().SetRat(new(big.Rat).Quo(counted, rest))
	term := power(bits().SetRat(rest), n)
	sum.Add(sum, term)
	for i := range c {
		term.Mul(term, odds)
		term.Mul(term, bits().SetInt64(int64(n-i)))
		term.Quo(term, bits().SetInt64(int64(i+1)))
		sum.Add(sum, term)
	}
	return sum
}

func bits() *big.Float { return new(big.Float).SetPrec(precision) }

// power is xⁿ, with an exponent that does not underflow as a float64 would.
func power(x *big.Float, n int) *big.Float {
	out := bits().SetInt64(1)
	square := bits().Set(x)
	for ; n > 0; n >>= 1 {
		if n&1 == 1 {
			out.Mul(out, square)
		}
		square.Mul(square, square)
	}
	return out
}

// PassesLot is the probability that a lot with the counted units passes p,
// exactly.
//
//	Pa = Σ i=0..c  C(Dm, i) C(N − Dm − DM, n − i) / C(N, n)
//
//	N       units in the lot
//	Dm, DM  units that count against c; units of which none may be found
//	n, c    samples, and how many of them may be above m
//
// Range:    up to MaxLot units and MaxSamples samples, n ≤ N.
// Assumes:  samples drawn at random without putting back, a test without error.
// Source:   hypergeometric distribution, for two classes as tabled in ISPM 31.
// Read:     second-hand, through published/metrology/sampling_plans.csv.
// Departs:  nothing; the third class is the same sum with DM left out.
// Checked:  testdata/published/metrology/sampling_plans.csv,
// testdata/golden/oracle_sampling.csv
func (p Plan) PassesLot(u Counts) (*big.Rat, error) {
	if err := p.Verify(); err != nil {
		return nil, err
	}
	if err := verifyLot(u.Lot, p.N); err != nil {
		return nil, err
	}
	if u.Defective < 0 || u.Marginal < 0 || u.Defective > u.Lot || u.Marginal > u.Lot-u.Defective {
		return nil, fmt.Errorf("%d marginal and %d defective units cannot be in a lot of %d", u.Marginal, u.Defective, u.Lot)
	}
	counted, never := u.Marginal, u.Defective
	if p.Classes == 2 {
		if u.Marginal != 0 {
			return nil, fmt.Errorf("a plan of two classes knows no marginal units")
		}
		counted, never = never, counted
	}
	return passesLot(p.N, p.C, u.Lot, counted, never), nil
}

func verifyLot(lot, n int) error {
	switch {
	case lot < 1 || lot > MaxLot:
		return fmt.Errorf("%d is no number of units in a lot: from 1 to %d", lot, MaxLot)
	case n < 1 || n > lot || n > MaxSamples:
		return fmt.Errorf("%d samples cannot be drawn from a lot of %d", n, lot)
	}
	return nil
}

// passesLot is the kernel of PassesLot: each term follows from the one before
// by a division that comes out even, so nothing is ever rounded.
func passesLot(n, c, lot, counted, never int) *big.Rat {
	good := lot - counted - never
	i := max(0, n-good) // so many samples are bound to count
	if i > min(c, counted) {
		return new(big.Rat)
	}
	term := new(big.Int).Binomial(int64(counted), int64(i))
	term.Mul(term, new(big.Int).Binomial(int64(good), int64(n-i)))
	sum := new(big.Int).Set(term)
	for ; i < min(c, counted, n); i++ {
		term.Mul(term, big.NewInt(int64(counted-i)*int64(n-i)))
		term.Quo(term, big.NewInt(int64(i+1)*int64(good-n+i+1)))
		sum.Add(sum, term)
	}
	return new(big.Rat).SetFrac(sum, new(big.Int).Binomial(int64(lot), int64(n)))
}
