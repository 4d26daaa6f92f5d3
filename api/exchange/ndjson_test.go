package exchange

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/workflow/reading"
)

// good is a line with nothing wrong in it.
const good = `{"instrument":"T","taken_at":"2026-03-01T10:00:00Z","value":71.50,"unit":"C"}`

// TestNDJSONProblems spoils the second of three lines: the first and the third
// are still read.
func TestNDJSONProblems(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, line string
		want       []string
	}{
		{"unknown member", strings.Replace(good, `{`, `{"colour":1,`, 1), []string{"2:colour:unknown-column"}},
		{"wrong case", strings.Replace(good, `"value"`, `"Value"`, 1), []string{"2:Value:unknown-column"}},
		{"duplicate member", strings.Replace(good, `{`, `{"unit":"C",`, 1), []string{"2:unit:duplicate-column"}},
		{"duplicate member, escaped", strings.Replace(good, `{`, `{"\u0075nit":"C",`, 1), []string{"2:unit:duplicate-column"}},
		{"missing member", strings.Replace(good, `"value":71.50,`, ``, 1), []string{"2:value:required"}},
		{"null", strings.Replace(good, `71.50`, `null`, 1), []string{"2:value:required"}},
		{"empty", strings.Replace(good, `71.50`, `""`, 1), []string{"2:value:required"}},
		{"list", strings.Replace(good, `71.50`, `[71.50]`, 1), []string{"2:value:not-one-value"}},
		{"object", strings.Replace(good, `71.50`, `{"C":71.50}`, 1), []string{"2:value:not-one-value"}},
		{"exponent", strings.Replace(good, `71.50`, `7.15e1`, 1), []string{"2:value:not-a-number"}},
		{"boolean for a number", strings.Replace(good, `71.50`, `true`, 1), []string{"2:value:not-a-number"}},
		{"NaN", strings.Replace(good, `71.50`, `NaN`, 1), []string{"2::bad-json"}},
		{"NUL, escaped", strings.Replace(good, `"T"`, `"T\u0000"`, 1), []string{"2:instrument:nul-character"}},
		{"NUL", strings.Replace(good, `"T"`, "\"T\x00\"", 1), []string{"2::bad-json"}},
		{"half a surrogate pair", strings.Replace(good, `"T"`, `"\ud800"`, 1), []string{"2::bad-json"}},
		{"not UTF-8", strings.Replace(good, `"T"`, "\"caf\xe9\"", 1), []string{"2::not-utf8"}},
		{"a list", `[` + good + `]`, []string{"2::bad-json"}},
		{"two objects", good + good, []string{"2::bad-json"}},
		{"a word after it", good + ` x`, []string{"2::bad-json"}},
		{"a comma after it", good + `,`, []string{"2::bad-json"}},
		{"broken off", good[:40], []string{"2::bad-json"}},
		{"CSV", `T,2026-03-01T10:00:00Z,71.50,C`, []string{"2::bad-json"}},
		{"blank", "  \r", nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			list, bad := readingsOf(t, "readings.ndjson", []byte(good+"\n"+c.line+"\n"+good))
			var want []string
			for _, w := range c.want {
				want = append(want, "readings.ndjson:"+w)
			}
			if d := cmp.Diff(want, briefs(bad)); d != "" {
				t.Errorf("(-want +got)\n%s\n%v", d, bad)
			}
			if len(list) != 2 || list[0].Line != 1 || list[1].Line != 3 {
				t.Errorf("read %v", list)
			}
		})
	}
}

// TestNDJSONLongLine: the rest of the file is not guessed at.
func TestNDJSONLongLine(t *testing.T) {
	t.Parallel()
	long := strings.Replace(good, `"T"`, `"`+strings.Repeat("x", 2<<20)+`"`, 1)
	list, bad := readingsOf(t, "readings.ndjson", []byte(good+"\n"+long+"\n"+good+"\n"))
	if d := cmp.Diff([]string{"readings.ndjson:2::too-long"}, briefs(bad)); d != "" || len(list) != 1 {
		t.Error(d, len(list))
	}
}

// TestNDJSONValues: numbers keep the digits they were written with, strings are
// what they stand for, and a string may hold a number.
func TestNDJSONValues(t *testing.T) {
	t.Parallel()
	line := `{"value":71.50,"instrument":"T-\u0031","unit":"C","taken_at":"2026-03-01T10:00:00Z","lot":412,"limit":null,"source_id":""}`
	list, bad := readingsOf(t, "readings.ndjson", []byte("\ufeff"+line+"\n"+strings.Replace(line, "71.50", `"71.500"`, 1)))
	if len(bad) > 0 {
		t.Fatal(bad)
	}
	want := reading.Reading{Instrument: "T-1", TakenAt: utc("2026-03-01T10:00:00Z"), Value: 71.5, Decimals: 2, Unit: celsius, Lot: "412"}
	if d := cmp.Diff(want, list[0].Value); d != "" {
		t.Error(d)
	}
	want.Decimals = 3
	if d := cmp.Diff(want, list[1].Value); d != "" {
		t.Error(d)
	}
}
