package exchange

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/gs1"
)

// The keys of design notes on standards, §3: each in all of its forms is one name,
// and the plant's own codes stay as they are.
func TestMarks(t *testing.T) {
	t.Parallel()
	for want, c := range map[string]struct {
		of    Marked
		forms []string
	}{
		"(01)04012345123456(10)998877": {Product, []string{"(01)04012345123456(10)998877", "010401234512345610998877", "]C1010401234512345610998877",
			"https://id.gs1.org/01/04012345123456/10/998877", "urn:epc:class:lgtin:4012345.012345.998877"}},
		"(01)00614141777778(21)2017": {Product, []string{"(01) 00614141777778 (21) 2017", "0100614141777778212017", "urn:epc:id:sgtin:0614141.077777.2017"}},
		"(00)106141412345678908":     {Product, []string{"106141412345678908", "00106141412345678908", "(00)106141412345678908", "urn:epc:id:sscc:0614141.1234567890"}},
		"(414)0614141007776":         {Place, []string{"0614141007776", "(414)0614141007776", "https://id.gs1.org/414/0614141007776", "]C14140614141007776"}},
		"(01)04012345123456":         {Product, []string{"04012345123456", "(01)04012345123456"}},
	} {
		for _, form := range c.forms {
			if got, err := Mark(form, c.of, "lot"); err != nil || got != want {
				t.Errorf("%q is %q, %v; want %q", form, got, err, want)
			}
		}
	}
	for _, own := range []string{"L-0412", "20260310", "202603101404", "6291041500213", "614141777778", "70614141123451", "96385074", "urn:plant:lot:17", "Ham (cooked)", "00017"} {
		if got, err := Mark(own, Product, "lot"); err != nil || got != own {
			t.Errorf("%q is %q, %v", own, got, err)
		}
	}
	for wrong, says := range map[string]string{
		"(01)04012345123457(10)998877":                "character 18, in (01): the check digit is 7, must be 6",
		"(10)998877":                                  "without (01)",
		"(01)04012345123456(10)123456789012345678901": "must be 1 to 20",
	} {
		if _, err := Mark(wrong, Product, "body.lot"); err == nil || !strings.Contains(err.Error(), says) || !strings.HasPrefix(err.Error(), "body.lot: ") {
			t.Errorf("%q: %v, want %s", wrong, err, says)
		}
	}
}

// A key has one name in whatever form it comes, and that name is its own.
func TestOneKeyOneMark(t *testing.T) {
	t.Parallel()
	digits := func(t *rapid.T, n int) string {
		body := rapid.StringMatching(`[1-9][0-9]{`+string(rune('0'+n/10))+string(rune('0'+n%10))+`}`).Draw(t, "body")
		d, _ := gs1.CheckDigit(body)
		return body + string(d)
	}
	value := rapid.StringMatching(`[A-Za-z0-9/._-]{1,20}`)
	rapid.Check(t, func(t *rapid.T) {
		of, k := Product, gs1.Key{}
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0:
			k = gs1.Key{Kind: gs1.GTIN, Number: digits(t, 12), Lot: value.Draw(t, "lot")}
		case 1:
			k = gs1.Key{Kind: gs1.GTIN, Number: digits(t, 12), Serial: value.Draw(t, "serial")}
		case 2:
			k = gs1.Key{Kind: gs1.SSCC, Number: digits(t, 16)}
		case 3:
			of, k = Place, gs1.Key{Kind: gs1.GLN, Number: digits(t, 11)}
		}
		want, err := k.Message().Format(gs1.Bracketed)
		if err != nil {
			t.Fatal(err)
		}
		for _, form := range []gs1.Form{gs1.Bracketed, gs1.Linked} {
			text, err := k.Message().Format(form)
			if err != nil {
				t.Fatal(err)
			}
			if got, err := Mark(text, of, "lot"); err != nil || got != want {
				t.Fatalf("%q is %q, %v; want %q", text, got, err, want)
			}
		}
		scanned, _ := k.Message().Format(gs1.Scanned)
		if got, err := Mark("]C1"+scanned, of, "lot"); err != nil || got != want {
			t.Fatalf("%q is %q, %v; want %q", scanned, got, err, want)
		}
	})
}
