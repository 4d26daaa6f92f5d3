package unit

import (
	"strings"
	"testing"
)

// noNumber is what no number of degrees may look like. A spreadsheet, a logger
// or a programming language writes each of them.
var noNumber = []string{
	"", " ", "-", "+", ".", "-.", "--5", "+-5", "-+5", "++5", "5-", "5+", "1-2",
	"NaN", "nan", "Inf", "+Inf", "-Inf", "infinity", "∞",
	"1e2", "7.15E1", "1e-3", "1p4", "0x47", "0X1p3", "0b101", "0o17", "1_000", "1_0.5",
	"1,5", "1.2.3", "1..2", "7 1", " 71", "71 ", "\t71", "71\n", "1/2", "71/1",
	"−5", "71.5°", "٧١", "71.5C", "#N/A", "null", "seventy",
}

func TestParseMicro(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		in   string
		want Micro
	}{
		{"0", 0}, {"-0", 0}, {"-0.0", 0}, {"71.1", 71_100_000}, {"-18", -18_000_000},
		{"+5", 5_000_000}, {".5", 500_000}, {"-.5", -500_000}, {"5.", 5_000_000},
		{"010", 10_000_000}, {"007.50", 7_500_000}, // a leading 0 is not octal
		{"0.000001", 1}, {"-0.000001", -1},
		{"71.5000000000", 71_500_000}, // zeros beyond the sixth decimal say nothing
		{"100000", MaxDegrees * PerDegree}, {"-100000.000000", -MaxDegrees * PerDegree},
	} {
		if got, err := ParseMicro(c.in); err != nil || got != c.want {
			t.Errorf("%q is %v, %v; want %v", c.in, got, err, c.want)
		}
	}
	for _, in := range noNumber {
		refused(t, in, "number", func() (Micro, error) { return ParseMicro(in) })
	}
	for _, in := range []string{"0.0000001", "71.1234567", "-1.0000005"} {
		refused(t, in, "more than six decimals", func() (Micro, error) { return ParseMicro(in) })
	}
	for _, in := range []string{
		"100000.000001", "-100000.000001", "99999999999999",
		"9223372036854.775808", // would wrap round as an int64 of millionths
		strings.Repeat("9", 400),
	} {
		refused(t, in, "beyond 100000 degrees", func() (Micro, error) { return ParseMicro(in) })
	}
}

// refused holds a parser to an error that says why, and to no value beside it.
func refused[T comparable](t *testing.T, in, why string, parse func() (T, error)) {
	t.Helper()
	var zero T
	got, err := parse()
	switch {
	case err == nil:
		t.Errorf("%q is taken for %v", in, got)
	case got != zero:
		t.Errorf("%q is refused, but comes back as %v", in, got)
	case !strings.Contains(err.Error(), why):
		t.Errorf("%q is refused because %v; want %q in it", in, err, why)
	}
}

func TestParseTemperature(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]Temperature{
		"165 F":      {165_000_000, FahrenheitScale},
		"71.1 CEL":   {71_100_000, CelsiusScale},
		"-18 C":      {-18_000_000, CelsiusScale},
		"  4.4\tC ":  {4_400_000, CelsiusScale},
		"345 KEL":    {345_000_000, KelvinScale},
		"165\u00a0F": {165_000_000, FahrenheitScale}, // the space that spreadsheets put before a unit
		"-459.67 F":  {-459_670_000, FahrenheitScale},
	} {
		if got, err := ParseTemperature(in); err != nil || got != want {
			t.Errorf("%q is %v, %v; want %v", in, got, err, want)
		}
	}
	for in, why := range map[string]string{
		"":            "write a number and a unit",
		"165":         "write a number and a unit",
		"165F":        "write a number and a unit",
		"F":           "write a number and a unit",
		"165 F C":     "write a number and a unit",
		"165 degrees": "unknown unit",
		"F 165":       "unknown unit",
		"165 f":       "unknown unit",
		"NaN C":       "number",
		"1e2 C":       "number",
		"0.0000001 C": "more than six decimals",
		"100001 F":    "beyond 100000 degrees",
	} {
		refused(t, in, why, func() (Temperature, error) { return ParseTemperature(in) })
	}
}

func TestParseDiff(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]Diff{
		"10 K":     {10_000_000, KelvinScale},
		"2 FAH":    {2_000_000, FahrenheitScale},
		"-0.5 CEL": {-500_000, CelsiusScale},
	} {
		if got, err := ParseDiff(in); err != nil || got != want {
			t.Errorf("%q is %v, %v; want %v", in, got, err, want)
		}
	}
	for in, why := range map[string]string{
		"":            "write a number and a unit",
		"2":           "write a number and a unit",
		"2 °F":        "unknown unit",
		"2 k":         "unknown unit",
		"Inf K":       "number",
		"0.0000005 K": "more than six decimals",
		"-100001 K":   "beyond 100000 degrees",
	} {
		refused(t, in, why, func() (Diff, error) { return ParseDiff(in) })
	}
}

// TestWrittenAsPoliciesAre: what is read is written so that it is read again.
func TestWrittenAsPoliciesAre(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]string{"165.0 FAH": "165 F", "+71.10 C": "71.1 C", ".5 KEL": "0.5 K"} {
		if got := temperature(t, in).String(); got != want {
			t.Errorf("temperature %q is written %q, want %q", in, got, want)
		}
		if got := difference(t, in).String(); got != want {
			t.Errorf("difference %q is written %q, want %q", in, got, want)
		}
	}
}
