package exchange

import (
	"strings"
	"testing"
	"time"
)

// TestLocalTimes: a time without an offset is refused, and where the site's zone
// is known the answer tells those apart that were twice (design notes on the
// procedure, X16) and never (X17). The nights are those of the IANA database.
func TestLocalTimes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ in, zone, rule, says string }{
		{"2025-11-02T01:30:00", "America/Chicago", "ambiguous-local-time", "2025-11-02T01:30:00-05:00 or 2025-11-02T01:30:00-06:00"},
		{"2025-11-02 01:59:59", "America/Chicago", "ambiguous-local-time", ""},
		{"2025-11-02T02:00:00", "America/Chicago", offsetRequired, "2025-11-02T02:00:00-06:00"},
		{"2025-11-02T00:59:59", "America/Chicago", offsetRequired, "2025-11-02T00:59:59-05:00"},
		{"2025-03-09T02:30", "America/Chicago", "nonexistent-local-time", "never was in America/Chicago"},
		{"2025-03-09T03:00:00", "America/Chicago", offsetRequired, "2025-03-09T03:00:00-05:00"},
		{"2025-10-26T02:30:00.5", "Europe/Dublin", offsetRequired, "2025-10-26T02:30:00.5Z"},
		{"2025-10-26T01:30:00.5", "Europe/Dublin", "ambiguous-local-time", "2025-10-26T01:30:00.5+01:00 or 2025-10-26T01:30:00.5Z"},
		{"2025-06-01T12:00:00", "UTC", offsetRequired, "2025-06-01T12:00:00Z"},
		{"2025-11-02", "America/Chicago", offsetRequired, "has no offset from UTC"},
	} {
		zone, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		u := NewUpload("readings.csv", strings.NewReader("instrument,taken_at,value,unit\nT-1,"+c.in+",71.2,C\n"), zone)
		n := 0
		for _, p := range u.Readings() {
			if n++; p == nil || p.Rule != c.rule || p.Column != "taken_at" || !strings.Contains(p.Detail, c.says) {
				t.Errorf("%s in %s: %+v, want %s: %s", c.in, c.zone, p, c.rule, c.says)
			}
		}
		if n != 1 {
			t.Errorf("%s: %d rows", c.in, n)
		}
	}
}

// TestSecondsAreExact: a clock offset is whole microseconds, of either sign.
func TestSecondsAreExact(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]int64{"3600": 3_600_000_000, "-90.5": -90_500_000, "0.000001": 1, "34560000": 34_560_000_000_000} {
		if got, f := parseSeconds(in); f != nil || got != want {
			t.Errorf("%s: %d %v, want %d", in, got, f, want)
		}
	}
	for in, rule := range map[string]string{"1h": "not-a-number", "1e3": "not-a-number", "0.0000001": "too-many-decimals", "34560001": "out-of-range", "-34560001": "out-of-range"} {
		if _, f := parseSeconds(in); ruleOf(f) != rule {
			t.Errorf("%s: %v, want %s", in, f, rule)
		}
	}
}
