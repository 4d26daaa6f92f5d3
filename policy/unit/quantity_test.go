package unit

import (
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

func TestParseQuantity(t *testing.T) {
	t.Parallel()
	for _, amount := range []string{
		"0", "500", "500.50", "0.000001", "007", "999999999999999.999999", "123456789012345",
	} {
		q, err := ParseQuantity(amount, "kg")
		if err != nil || q != (Quantity{Amount: amount, Unit: "kg"}) {
			t.Errorf("%q kg is %v, %v; want it as it was written", amount, q, err)
		}
		if want := amount + " kg"; q.String() != want {
			t.Errorf("written as %q, want %q", q, want)
		}
	}
	for _, amount := range noNumber {
		if amount != "" && amount[0] == '-' {
			refused(t, amount, "negative", func() (Quantity, error) { return ParseQuantity(amount, "kg") })
			continue
		}
		refused(t, amount, "not a quantity", func() (Quantity, error) { return ParseQuantity(amount, "kg") })
	}
	for _, amount := range []string{
		"+5", ".5", "5.", // an amount is kept as it was written, so only one way to write it
		"1.0000000", "0.1234567", "1234567890123456",
	} {
		refused(t, amount, "not a quantity", func() (Quantity, error) { return ParseQuantity(amount, "kg") })
	}
	for _, amount := range []string{"-5", "-0.1", "-0"} {
		refused(t, amount, "negative", func() (Quantity, error) { return ParseQuantity(amount, "kg") })
	}
	for _, of := range []string{"", " ", "\t"} {
		refused(t, of, "no unit", func() (Quantity, error) { return ParseQuantity("500", of) })
	}
}

// TestQuantityAddsUp: amounts that are written with decimals add up exactly, so
// that a mass balance does not miss a gram.
func TestQuantityAddsUp(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		amount := rapid.StringMatching(`[0-9]{1,15}(\.[0-9]{1,6})?`).Draw(t, "amount")
		q, err := ParseQuantity(amount, "kg")
		if err != nil {
			t.Fatal(err)
		}
		tenth := Quantity{Amount: "0.1", Unit: "kg"}
		sum := q.Rat()
		for range 10 {
			sum.Add(sum, tenth.Rat())
		}
		want, _ := new(big.Rat).SetString(amount)
		if sum.Cmp(want.Add(want, big.NewRat(1, 1))) != 0 {
			t.Fatalf("%v and ten times %v is %v", q, tenth, sum.RatString())
		}
	})
}
