package unit

import (
	"fmt"
	"math/big"
	"strings"
)

// Quantity is an amount of product: an exact decimal, kept as it was written,
// and its unit (kg, case, each; the plant's own words).
type Quantity struct {
	Amount string // a plain decimal, ≥ 0
	Unit   string
}

// ParseQuantity reads an amount of product. It refuses a negative amount, one
// that is no plain decimal number, one with more than six decimals or fifteen
// digits before the point, and a missing unit. It also refuses a number that
// ends in its point: in an amount that is kept as it was written, that is a
// number cut short.
func ParseQuantity(amount, unit string) (Quantity, error) {
	if strings.TrimSpace(unit) == "" {
		return Quantity{}, fmt.Errorf("the quantity %s has no unit", amount)
	}
	if strings.HasPrefix(amount, "-") {
		return Quantity{}, fmt.Errorf("the quantity %s is negative", amount)
	}
	whole, frac, point := strings.Cut(amount, ".")
	if whole == "" || len(whole) > 15 || len(frac) > 6 || point && frac == "" || strings.Trim(whole+frac, "0123456789") != "" {
		return Quantity{}, fmt.Errorf("%q is not a quantity: write at most fifteen digits, and after a point one to six more", amount)
	}
	return Quantity{Amount: amount, Unit: unit}, nil
}

// Rat returns the amount as a rational number, for sums.
func (q Quantity) Rat() *big.Rat {
	r, ok := new(big.Rat).SetString(q.Amount)
	if !ok {
		return new(big.Rat)
	}
	return r
}

// String returns "500 kg".
func (q Quantity) String() string { return q.Amount + " " + q.Unit }

// Decimal writes a sum of amounts: amounts have at most six decimals, and so has
// every sum of them.
func Decimal(r *big.Rat) string {
	s := r.FloatString(6)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}
