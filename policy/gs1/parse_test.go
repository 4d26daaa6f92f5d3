package gs1_test

import (
	"errors"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/gs1"
)

// TestOneLotInEveryForm: design notes on standards, §3 and §14 test 1.
func TestOneLotInEveryForm(t *testing.T) {
	t.Parallel()
	want := gs1.Key{Kind: gs1.GTIN, Number: "04012345123456", Lot: "998877"}
	for _, text := range []string{
		"(01)04012345123456(10)998877", "(01) 04012345123456 (10) 998877",
		"010401234512345610998877", "]C1010401234512345610998877", "\x1d010401234512345610998877\x1d",
		"https://id.gs1.org/01/04012345123456/10/998877", "https://plant.example/trace/01/4012345123456/10/998877?linkType=all#top",
		"urn:epc:class:lgtin:4012345.012345.998877",
	} {
		k, ok, err := gs1.Recognise(text)
		if err != nil || !ok || k != want {
			t.Errorf("%q is %+v, %v, %v", text, k, ok, err)
		}
	}
}

func TestParse(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]gs1.Message{
		"00106141412345678908":                                                {{"00", "106141412345678908"}}, // EPCIS examples
		"urn:epc:id:sscc:0614141.1234567890":                                  {{"00", "106141412345678908"}}, // EPCIS examples
		"urn:epc:id:sgln:0614141.00777.0":                                     {{"414", "0614141007776"}},     // EPCIS examples
		"urn:epc:id:sgln:0614141.00777.dock%2F2":                              {{"414", "0614141007776"}, {"254", "dock/2"}},
		"urn:epc:id:sgtin:4012345.098765.2017":                                {{"01", "04012345987652"}, {"21", "2017"}}, // EPCIS examples
		"urn:epc:id:giai:4000001.111":                                         {{"8004", "4000001111"}},                   // EPCIS examples
		"urn:epc:id:grai:0614141.12345.400":                                   {{"8003", "00614141123452400"}},            // EPC Tag Data Standard (memory)
		"https://id.gs1.org/8004/4000001111":                                  {{"8004", "4000001111"}},
		"https://id.gs1.org/414/0614141007776/254/A1":                         {{"414", "0614141007776"}, {"254", "A1"}},
		"https://id.gs1.org/01/04012345123456/10/a%2Fb?17=260310&3102=001250": {{"01", "04012345123456"}, {"10", "a/b"}, {"17", "260310"}, {"3102", "001250"}},
		"01040123451234561726031010998877\x1d3102001250":                      {{"01", "04012345123456"}, {"17", "260310"}, {"10", "998877"}, {"3102", "001250"}},
		`(00)106141412345678908(02)04012345123456(37)48(10)9\(8`:              {{"00", "106141412345678908"}, {"02", "04012345123456"}, {"37", "48"}, {"10", "9(8"}},
	} {
		got, err := gs1.Parse(text)
		if err != nil {
			t.Errorf("%q: %v", text, err)
		} else if d := cmp.Diff(want, got); d != "" {
			t.Errorf("%q:\n%s", text, d)
		}
	}
}

func TestParseSaysWhereAndWhy(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"(01)04012345123457":                                `character 18, in (01): the check digit is 7, must be 6`, // design notes on standards, §3
		"0104012345123457":                                  `character 16, in (01): the check digit is 7, must be 6`,
		"https://id.gs1.org/01/04012345123457":              `character 36, in (01): the check digit is 7, must be 6`,
		"(01)04012345123456(10)123456789012345678901":       `character 43, in (10): 21 characters, must be 1 to 20`, // design notes on standards, §3
		"(10)998877":                                        `character 1, in (10): (10) says nothing without (01) or (02) or (8006) or (8026)`,
		"(01)0401234512345":                                 `character 18, in (01): 13 characters, must be 14`,
		"(01)0401234512345X":                                `character 18, in (01): "X" is no digit`,
		"(01)04012345123456(10)ä":                           `character 23, in (10): "\xc3" is not in the GS1 character set`,
		"(01)04012345123456(17)261301":                      `character 23, in (17): there is no month 13`,
		"(01)04012345123456(17)260230":                      `character 23, in (17): there is no day 30 in month 02 of 2026`,
		"(01)04012345123456(17)260200(17)260300":            `character 29, in (17): (17) stands there twice`,
		"(01)04012345123456(99)1":                           `character 19: "99" is no application identifier that is read here`,
		"010401234512345699":                                `character 17: no application identifier that is read here begins with "99"`,
		"(01":                                               `character 1: the bracket is not closed`,
		"":                                                  `character 1: there is no application identifier in it`,
		"https://id.gs1.org/about":                          `character 19: there is no GS1 key in the path`,
		"https://id.gs1.org/01":                             `character 20: "01" has no value behind it`,
		"https://id.gs1.org/01/04012345123456/17/260310":    `character 38: "17" does not belong into the path behind (01)`,
		"https://id.gs1.org/01/04012345123456/10/a%2":       `character 42, in (10): % without two digits of its code`,
		"urn:epc:class:lgtin:4012345.01234.998877":          `character 21, in (01): company and item have 12 digits, must have 13`,
		"https://id.gs1.org/01/04012345123456/10/a%2zb":     `character 42, in (10): % without two digits of its code`,
		"https://id.gs1.org/01/04012345123456/10/a%c3%a4":   `character 41, in (10): "\xc3" is not in the GS1 character set`,
		"https://id.gs1.org/01/04012345123456?17=%":         `character 41, in (17): % without two digits of its code`,
		"urn:epc:id":                                        `character 9: an EPC urn names its scheme and its key`,
		"urn:epc:class:lgtin:40123.4567890.998877":          `character 21, in (01): the company prefix is "40123", must be 6 to 12 digits`,
		"urn:epc:class:lgtin:4012345.01234a.998877":         `character 29, in (01): "01234a" is not all digits`,
		"urn:epc:class:lgtin:4012345.012345":                `character 21, in (01): this urn has not the parts of its scheme`,
		"urn:epc:class:lgtin:4012345.012345.%":              `character 36, in (10): % without two digits of its code`,
		"urn:epc:id:gdti:4012345.01234.998877":              `character 9: id:gdti is no scheme that is read here`,
		"(8003)10614141123452":                              `character 7, in (8003): a returnable asset begins with 0`,
		"(00)106141412345678908(37)48(310)1":                `character 29: "310" is no application identifier that is read here`,
		"(02)04012345123456":                                `character 1, in (02): (02) says nothing without (37)`,
		"(414)0614141007776(254)" + "123456789012345678901": `character 44, in (254): 21 characters, must be 1 to 20`,
	} {
		m, err := gs1.Parse(text)
		var e *gs1.Error
		if !errors.As(err, &e) || err.Error() != want {
			t.Errorf("%q is %v, says %v\nwant %s", text, m, err, want)
		}
	}
}

// TestFormatRefuses: what breaks a rule is not written.
func TestFormatRefuses(t *testing.T) {
	t.Parallel()
	for want, m := range map[string]gs1.Message{
		"character 18, in (01): the check digit is 7, must be 6":            {{"01", "04012345123457"}},
		"character 1: there is no application identifier in it":             {},
		"character 1: a link begins with a key, and there is none":          {{"02", "04012345123456"}, {"37", "48"}},
		`character 1: "310" is no application identifier that is read here`: {{"310", "1"}},
	} {
		if text, err := m.Format(gs1.Linked); err == nil || err.Error() != want {
			t.Errorf("%v is %q, says %v\nwant %s", m, text, err, want)
		}
	}
	if k, ok := (gs1.Message{{"02", "04012345123456"}, {"37", "48"}}).Key(); ok {
		t.Errorf("what is on a pallet names %+v", k)
	}
}

func TestDate(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		digits string
		year   int
		want   string
	}{ // GS1 General Specifications, determination of century (memory)
		{"260310", 2026, "2026-03-10"}, {"260200", 2026, "2026-02-28"}, {"280200", 2026, "2028-02-29"}, {"261200", 2026, "2026-12-31"},
		{"770101", 2026, "1977-01-01"}, {"760101", 2026, "2076-01-01"}, {"010101", 2099, "2101-01-01"}, {"490101", 2099, "2149-01-01"}, {"500101", 2099, "2050-01-01"},
	} {
		got, err := gs1.Date(c.digits, c.year)
		if err != nil || got.Format(time.DateOnly) != c.want {
			t.Errorf("%s read in %d is %s, %v; want %s", c.digits, c.year, got.Format(time.DateOnly), err, c.want)
		}
	}
	if d, err := gs1.Date("2603", 2026); err == nil {
		t.Errorf("four digits are %s", d)
	}
}

func TestDecimal(t *testing.T) {
	t.Parallel()
	for e, want := range map[gs1.Element]string{
		{"3102", "001250"}: "12.50", {"3100", "000012"}: "12", {"3205", "123456"}: "1.23456", {"3103", "000000"}: "0.000", {"3100", "000000"}: "0",
	} {
		if got, ok := e.Decimal(); !ok || got != want {
			t.Errorf("(%s)%s is %q, want %q", e.AI, e.Value, got, want)
		}
	}
	if v, ok := (gs1.Element{AI: "37", Value: "000012"}).Decimal(); ok {
		t.Errorf("a count is the measure %s", v)
	}
}
