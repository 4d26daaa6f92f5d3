package unit

import (
	"math/big"
	"regexp"
	"strings"
	"testing"
)

// plain is a decimal number without exponent, prefix or separator.
var plain = regexp.MustCompile(`^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)$`)

// FuzzParseTemperature: whatever is taken for a temperature is a plain decimal
// with a unit, means what it says to the last millionth, and reads the same when
// it is written again.
func FuzzParseTemperature(f *testing.F) {
	for _, s := range []string{"165 F", "71.1 CEL", "-459.67 F", "+.5 K", "5. C", "1e2 C", "0x1p3 C", "100000 F", "1_0 C", "4 °C", "NaN K", "1\u00a0C"} {
		f.Add(s)
	}
	for _, s := range noNumber {
		f.Add(s + " C")
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := ParseTemperature(s)
		if err != nil {
			if got != (Temperature{}) {
				t.Fatalf("%q is refused, but comes back as %v", s, got)
			}
			return
		}
		words := strings.Fields(s)
		if len(words) != 2 || !plain.MatchString(words[0]) {
			t.Fatalf("%q is taken for %v", s, got)
		}
		want, ok := new(big.Rat).SetString(words[0])
		if !ok || want.Cmp(big.NewRat(int64(got.Value), 1_000_000)) != 0 {
			t.Fatalf("%q is taken for %v", s, got)
		}
		if !strings.HasPrefix(words[1], got.Scale.String()) {
			t.Fatalf("%q is taken for %v", s, got)
		}
		if again, err := ParseTemperature(got.String()); err != nil || again != got {
			t.Fatalf("%q is written %v and read again as %v, %v", s, got, again, err)
		}
		if diff, err := ParseDiff(s); err != nil || diff != Diff(got) {
			t.Fatalf("%q is %v as a temperature and %v, %v as a difference", s, got, diff, err)
		}
	})
}

// FuzzParseQuantity: whatever is taken for an amount is kept to the letter, is
// not negative, and is a whole number of millionths.
func FuzzParseQuantity(f *testing.F) {
	for _, s := range append([]string{"500", "500.50", "0.000001", "999999999999999.999999", "5.", ".5", "+5", "-5"}, noNumber...) {
		f.Add(s, "kg")
	}
	f.Add("500", "")
	amounts := regexp.MustCompile(`^[0-9]{1,15}(\.[0-9]{1,6})?$`)
	f.Fuzz(func(t *testing.T, amount, of string) {
		q, err := ParseQuantity(amount, of)
		if err != nil {
			if q != (Quantity{}) {
				t.Fatalf("%q %q is refused, but comes back as %v", amount, of, q)
			}
			if amounts.MatchString(amount) && strings.TrimSpace(of) != "" {
				t.Fatalf("%q %q is refused: %v", amount, of, err)
			}
			return
		}
		if q.Amount != amount || q.Unit != of || !amounts.MatchString(amount) || strings.TrimSpace(of) == "" {
			t.Fatalf("%q %q is taken for %v", amount, of, q)
		}
		millionths := new(big.Rat).Mul(q.Rat(), big.NewRat(1_000_000, 1))
		if !millionths.IsInt() || millionths.Sign() < 0 {
			t.Fatalf("%v is %s millionths", q, millionths.RatString())
		}
	})
}
