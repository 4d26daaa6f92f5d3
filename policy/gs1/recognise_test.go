package gs1_test

import (
	"strings"
	"testing"

	"lastgood/policy/gs1"
)

func TestParseKey(t *testing.T) {
	t.Parallel()
	for text, kind := range keys {
		k, err := gs1.ParseKey(kind, text)
		if err != nil || !strings.HasSuffix(k.Number, text) {
			t.Errorf("%s %s is %+v, %v", kind, text, k, err)
		}
	}
	twelve, _ := gs1.ParseKey(gs1.GTIN, "614141777778")
	if fourteen, _ := gs1.ParseKey(gs1.GTIN, "00614141777778"); twelve != fourteen {
		t.Errorf("%+v and %+v are two items", twelve, fourteen)
	}
	for text, c := range map[string]struct {
		kind gs1.Kind
		want string
	}{
		"614141777779":   {gs1.GTIN, "character 12, in (01): the check digit is 9, must be 8"},
		"04012345123457": {gs1.GTIN, "character 14, in (01): the check digit is 7, must be 6"},
		"12345":          {gs1.GTIN, "character 1, in (01): 5 characters, must be 8, 12, 13 or 14"},
		"061414100777":   {gs1.GLN, "character 13, in (414): 12 characters, must be 13"},
		"0614141123453":  {gs1.GRAI, "character 13, in (8003): the check digit is 3, must be 2"},
		"a b":            {gs1.GIAI, `character 2, in (8004): " " is not in the GS1 character set`},
	} {
		if k, err := gs1.ParseKey(c.kind, text); err == nil || err.Error() != c.want {
			t.Errorf("%s %s is %+v, says %v\nwant %s", c.kind, text, k, err, c.want)
		}
	}
}

// TestOwnCodes: a plant's own code is nobody's business, however much it looks
// like digits.
func TestOwnCodes(t *testing.T) {
	t.Parallel()
	for _, text := range []string{
		"", "L-0412", "ham", "20260310", "202603101404", "20260310140431", "260310140431", "2026031014043", "000000000000012345", // material number, filled up
		"00000000000000012345", "12345678901234", "98765432109876", "000012345678905", "(01) Ham", "(A)1", "(01)12", "01-04012345123457", "0104012345123457",
		"https://plant.example/lots/17", "https://plant.example/line/01/20260310140431", "https://plant.example/01", "urn:plant:lot:17", "urn:epc:id:gdti:4012345.01234.1",
		"0104012345123456-A", "https://", "http://x", "(", "()", "]", "01",
	} {
		if k, ok, err := gs1.Recognise(text); ok || err != nil {
			t.Errorf("%q is %+v, %v, %v", text, k, ok, err)
		}
	}
}

func TestRecognise(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]gs1.Key{
		"04012345123456": {Kind: gs1.GTIN, Number: "04012345123456"}, "614141777778": {Kind: gs1.GTIN, Number: "00614141777778"},
		"6291041500213": {Kind: gs1.GTIN, Number: "06291041500213"}, "106141412345678908": {Kind: gs1.SSCC, Number: "106141412345678908"},
		"0104012345123456": {Kind: gs1.GTIN, Number: "04012345123456"}, "00106141412345678908": {Kind: gs1.SSCC, Number: "106141412345678908"},
		"(8004)4000001111":                                         {Kind: gs1.GIAI, Number: "4000001111"},
		"(414)0614141007776(254)A":                                 {Kind: gs1.GLN, Number: "0614141007776", Serial: "A"},
		"(01)04012345123456(21)2017(17)260300":                     {Kind: gs1.GTIN, Number: "04012345123456", Serial: "2017"},
		"(8003)00614141123452400":                                  {Kind: gs1.GRAI, Number: "00614141123452", Serial: "400"},
		"(00)106141412345678908(02)04012345123456(37)48(10)998877": {Kind: gs1.SSCC, Number: "106141412345678908"},
	} {
		if k, ok, err := gs1.Recognise(text); err != nil || !ok || k != want {
			t.Errorf("%q is %+v, %v, %v", text, k, ok, err)
		}
	}
	for text, says := range map[string]string{
		"04012345123457": "must be 6", "(01)04012345123457(10)998877": "must be 6", "010401234512345710998877": "must be 6", // design notes on standards, §3
		"https://id.gs1.org/01/04012345123457/10/998877": "must be 6", "https://plant.example/01/04012345123457": "must be 6",
		"(00)106141412345678900": "must be 8", "(10)998877": "without (01)", "(01)04012345123456(10)123456789012345678901": "must be 1 to 20",
		"]C10104012345": "must be 14", "urn:epc:class:lgtin:4012345.01234.9": "must have 13",
	} {
		if k, ok, err := gs1.Recognise(text); ok || err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q is %+v, %v, %v; want %s", text, k, ok, err, says)
		}
	}
}
