package balance

import (
	"math/big"
	"testing"

	"lastgood/policy/unit"
)

// 0.1 % or one case, whichever is more (design notes on the procedure, §8).
func TestToleranceAllows(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		amount, of, missing string
		want                bool
	}{
		{"10000", "kg", "10", true}, {"10000", "kg", "10.000001", false}, {"400", "kg", "0.4", true}, {"400", "kg", "1", false},
		{"400", "case", "1", true}, {"400", "case", "1.5", false}, {"2000", "case", "2", true}, {"5", "kg", "0", true},
	} {
		missing, _ := new(big.Rat).SetString(c.missing)
		if got := DefaultTolerance().Allows(unit.Quantity{Amount: c.amount, Unit: c.of}, missing); got != c.want {
			t.Errorf("%s of %s %s missing: %v", c.missing, c.amount, c.of, got)
		}
	}
}
