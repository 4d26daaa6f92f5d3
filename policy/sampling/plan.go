// Package sampling judges re-tests of held product: attributes plans in two
// classes (n, c, m) and in three (n, c, m, M), what passing one would prove, and
// how many samples a proof needs.
//
// Results accept or reject by the plan and never by hand. Passing says how much
// defective product the samples still allow; it never says that a limit was met
// on the line: product tests alone do not turn indeterminate into met.
package sampling

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"strconv"
)

// Plan is a single sampling plan by attributes.
//
// A result at m is not above it, and a result at M is not above that: limits
// hold at their value, as everywhere in this tool. Up to C of N results may be
// above m; in a plan of three classes none may be above M.
type Plan struct {
	ID   string // "icmsf-11"; empty for a plan of the site's own
	Name string
	N, C int
	// Unit is what m and M are written in: "cfu/g", or "detected in 25 g" where
	// a result is 1 or 0.
	Unit    string
	Limit   *float64 // m; nil where it depends on the product and has to be set
	Reject  *float64 // M; nil in two classes, or where it has to be set
	Classes int      // 2 or 3
	// LotFrom and LotTo are the sizes of lot, in units, that a published plan is
	// for; 0: no bound.
	LotFrom, LotTo int
	Source         string
	FromMemory     bool // nobody had the source open: confirm before citing
}

// The largest plan and the largest lot that are computed exactly. A larger lot
// is as good as endless.
const (
	MaxSamples = 10_000
	MaxLot     = 1_000_000
)

// Verify refuses a plan that contradicts itself. Limits that still have to be
// set are no contradiction: the plan has a characteristic without them.
func (p Plan) Verify() error {
	switch {
	case p.N < 1 || p.N > MaxSamples:
		return fmt.Errorf("%d is no number of samples: from 1 to %d", p.N, MaxSamples)
	case p.C < 0 || p.C >= p.N:
		return fmt.Errorf("c is %d of %d samples: from 0 to one less than n, or nothing could be rejected", p.C, p.N)
	case p.Classes != 2 && p.Classes != 3:
		return fmt.Errorf("a plan has two classes or three, not %d", p.Classes)
	case p.Classes == 2 && p.Reject != nil:
		return errors.New("a plan of two classes has no M")
	case !finite(p.Limit) || !finite(p.Reject):
		return errors.New("m and M have to be numbers")
	case p.Limit != nil && p.Reject != nil && *p.Reject <= *p.Limit:
		return errors.New("a plan of three classes has its M above its m; where they are the same it has two")
	}
	return nil
}

// complete refuses a plan that results cannot be compared with yet.
func (p Plan) complete() error {
	if err := p.Verify(); err != nil {
		return err
	}
	if p.Limit == nil || p.Classes == 3 && p.Reject == nil {
		return errors.New("m, and M in three classes, have to be set for the product first")
	}
	return nil
}

func finite(v *float64) bool {
	return v == nil || !math.IsNaN(*v) && !math.IsInf(*v, 0)
}

// decimal is x as the decimal that it prints as: 0.95 is 19/20, so that "exactly
// equal" means what a person means by it.
func decimal(x float64) *big.Rat {
	r, ok := new(big.Rat).SetString(strconv.FormatFloat(x, 'g', -1, 64))
	if !ok {
		panic("sampling: not a number") // every caller has looked
	}
	return r
}

// verifyConfidence refuses a confidence that proves nothing or cannot be had.
func verifyConfidence(confidence float64) error {
	if !(confidence > 0 && confidence < 1) {
		return fmt.Errorf("a confidence lies between 0 and 1, not at %g", confidence)
	}
	return nil
}
