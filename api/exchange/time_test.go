package exchange

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestParseTime goes through what a plant's clocks and exports write. The
// examples of RFC 3339 section 5.8 are marked.
func TestParseTime(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ in, want, rule string }{
		{in: "2026-03-02T06:10:00+01:00", want: "2026-03-02T05:10:00Z"},
		{in: "1996-12-19T16:39:57-08:00", want: "1996-12-20T00:39:57Z"},        // RFC 3339 §5.8
		{in: "1990-12-31T23:59:60Z", want: "1990-12-31T23:59:59.999999Z"},      // RFC 3339 §5.8, a leap second
		{in: "1990-12-31T15:59:60-08:00", want: "1990-12-31T23:59:59.999999Z"}, // RFC 3339 §5.8, the same one
		{in: "2016-12-31T23:59:60.75Z", want: "2016-12-31T23:59:59.999999Z"},
		{in: "2026-03-02t06:10:00z", want: "2026-03-02T06:10:00Z"},      // RFC 3339 §5.6: may be lower case
		{in: "2026-03-02 06:10:00Z", want: "2026-03-02T06:10:00Z"},      // RFC 3339 §5.6: a space, say
		{in: "2026-03-02T06:10:00-00:00", want: "2026-03-02T06:10:00Z"}, // RFC 3339 §4.3
		{in: "2026-03-02T06:10:00.1234567Z", want: "2026-03-02T06:10:00.123456Z"},
		{in: "2024-02-29T00:00:00Z", want: "2024-02-29T00:00:00Z"},
		{in: "1990-01-01T00:00:00Z", want: "1990-01-01T00:00:00Z"},
		{in: "2100-12-31T23:59:59Z", want: "2100-12-31T23:59:59Z"},
		{in: "1989-12-31T23:59:59Z", rule: "out-of-range"},
		{in: "1937-01-01T12:00:27.87+00:20", rule: "out-of-range"}, // RFC 3339 §5.8, but nobody's batch
		{in: "2101-01-01T00:00:00Z", rule: "out-of-range"},
		{in: "2026-03-02T06:10:00", rule: "offset-required"},
		{in: "2026-03-02 06:10:00.5", rule: "offset-required"},
		{in: "2026-03-02T06:10", rule: "offset-required"},
		{in: "2026-03-02", rule: "offset-required"},
		{in: "2026-03-02T06:10:60Z", rule: "bad-time"}, // no leap second was ever put there
		{in: "2026-03-15T23:59:60Z", rule: "bad-time"},
		{in: "2025-02-29T00:00:00Z", rule: "bad-time"},
		{in: "2026-13-01T00:00:00Z", rule: "bad-time"},
		{in: "2026-00-01T00:00:00Z", rule: "bad-time"},
		{in: "2026-03-02T24:00:00Z", rule: "bad-time"},
		{in: "2026-03-02T06:60:00Z", rule: "bad-time"},
		{in: "2026-03-02T6:10:00Z", rule: "bad-time"},
		{in: "2026-03-02T06:10:00.Z", rule: "bad-time"},
		{in: "2026-03-02T06:10:00,5Z", rule: "bad-time"},
		{in: "2026-03-02T06:10:00+0100", rule: "bad-time"},
		{in: "2026-03-02T06:10:00+24:00", rule: "bad-time"},
		{in: "2026-03-02T06:10:00 CET", rule: "bad-time"},
		{in: "02/03/2026 06:10", rule: "bad-time"},
		{in: "46083.257", rule: "bad-time"},
		{in: "2026-O3-02T06:10:00Z", rule: "bad-time"}, // the letter O
		{in: "now", rule: "bad-time"},
	} {
		t.Run(c.in, func(t *testing.T) {
			t.Parallel()
			got, f := parseTime(c.in)
			if ruleOf(f) != c.rule {
				t.Fatalf("rule %q, want %q (%v)", ruleOf(f), c.rule, f)
			}
			if c.rule == "" && got.Format(time.RFC3339Nano) != c.want {
				t.Errorf("got %s, want %s", got.Format(time.RFC3339Nano), c.want)
			}
		})
	}
}

func ruleOf(f *flaw) string {
	if f == nil {
		return ""
	}
	return f.rule
}

// TestTimeRoundTrip: what the standard library writes comes back as the same
// moment, in any zone.
func TestTimeRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		micro := rapid.Int64Range(earliest.UnixMicro(), latest.UnixMicro()-1).Draw(t, "moment")
		offset := rapid.IntRange(-14*60, 14*60).Draw(t, "offset minutes")
		want := time.UnixMicro(micro)
		text := want.In(time.FixedZone("", offset*60)).Format(time.RFC3339Nano)
		got, f := parseTime(text)
		if f != nil || !got.Equal(want) || got.Location() != time.UTC {
			t.Fatalf("%s: got %v %v, want %v", text, got, f, want)
		}
	})
}

// grammar is RFC 3339, section 5.6, date-time.
var grammar = regexp.MustCompile(`^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]([01]\d|2[0-3]):[0-5]\d)$`)

// FuzzTime holds the parser to the standard library's strict reading of
// RFC 3339, both ways, but for leap seconds, which the library refuses.
func FuzzTime(f *testing.F) {
	for _, s := range []string{"2026-03-02T06:10:00+01:00", "1990-12-31T23:59:60Z", "2026-03-02 06:10:00.123456789-00:00",
		"2024-02-29t23:59:59z", "2026-03-02", "2100-12-31T23:59:59.9999999-23:59", "0000-01-01T00:00:00Z",
		"2000-01-01 0:00:00+00:00"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, flaw := parseTime(s)
		if flaw == nil && strings.Contains(s, ":60") && got.Nanosecond() == 999_999_000 && got.Second() == 59 {
			return
		}
		var want time.Time
		upper := strings.ToUpper(s)
		if len(s) > 10 && s[10] == ' ' {
			upper = upper[:10] + "T" + upper[11:]
		}
		err := want.UnmarshalText([]byte(upper))
		// The library is not yet strict about digits (one for the hour, a comma
		// before the fraction, an offset of 24 hours): the grammar of the RFC is.
		inRange := err == nil && grammar.MatchString(upper) && !want.Before(earliest) && want.Before(latest)
		switch {
		case (flaw == nil) != inRange:
			t.Errorf("%q: flaw %v, the library says %v %v", s, flaw, want, err)
		case flaw == nil && !got.Equal(want.Truncate(time.Microsecond)):
			t.Errorf("%q: got %v, the library says %v", s, got, want)
		}
	})
}
