package gs1_test

import (
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/gs1"
)

// keys are published or derived from published urns: design notes on standards,
// §3 (GS1 site example; EPCIS 2.0 examples of GS1).
var keys = map[string]gs1.Kind{
	"04012345123456":     gs1.GTIN, // EPCIS examples: lgtin 4012345.012345
	"00614141777778":     gs1.GTIN, // EPCIS examples: 0614141.077777
	"04012345666663":     gs1.GTIN, // EPCIS examples: 4012345.066666
	"04012345987652":     gs1.GTIN, // EPCIS examples: 4012345.098765
	"70614141123451":     gs1.GTIN, // EPCIS examples
	"6291041500213":      gs1.GTIN, // GS1 site, check digit example (memory)
	"614141777778":       gs1.GTIN, // the second as twelve digits
	"106141412345678908": gs1.SSCC, // EPCIS examples: sscc 0614141.1234567890
	"0614141007776":      gs1.GLN,  // EPCIS examples: sgln 0614141.00777.0
}

func TestCheckDigit(t *testing.T) {
	t.Parallel()
	for key, kind := range keys {
		body, last := key[:len(key)-1], key[len(key)-1]
		if got, ok := gs1.CheckDigit(body); !ok || got != last {
			t.Errorf("%s: check digit of %s is %c, want %c", kind, body, got, last)
		}
	}
	for _, s := range []string{"", "12a4", "１２"} {
		if _, ok := gs1.CheckDigit(s); ok {
			t.Errorf("%q has a check digit", s)
		}
	}
}

// TestCheckDigitFindsErrors: every single wrong digit, and every swap of
// neighbours that do not differ by 5, as GS1 says of its rule.
func TestCheckDigitFindsErrors(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		b := []byte(rapid.StringMatching(`[0-9]{7,17}`).Draw(t, "digits"))
		was, _ := gs1.CheckDigit(string(b))
		i := rapid.IntRange(0, len(b)-2).Draw(t, "place")
		d := byte('0' + rapid.IntRange(0, 9).Draw(t, "digit"))
		changed := append([]byte{}, b...)
		changed[i] = d
		if now, _ := gs1.CheckDigit(string(changed)); (now == was) != (d == b[i]) {
			t.Fatalf("%s and %s have check digits %c and %c", b, changed, was, now)
		}
		swapped := append([]byte{}, b...)
		swapped[i], swapped[i+1] = swapped[i+1], swapped[i]
		same := (int(b[i])-int(b[i+1]))%5 == 0
		if now, _ := gs1.CheckDigit(string(swapped)); (now == was) != same {
			t.Fatalf("%s and %s have check digits %c and %c", b, swapped, was, now)
		}
	})
}
