package exchange

import (
	"strconv"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/unit"
)

func TestParseIndication(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		in       string
		scale    unit.Scale
		want     float64
		decimals int8
		rule     string
	}{
		{in: "71.50", scale: 'C', want: 71.5, decimals: 2},
		{in: "165", scale: 'F', want: 165},
		{in: "-18.0", scale: 'C', want: -18, decimals: 1},
		{in: "+4.4", scale: 'C', want: 4.4, decimals: 1},
		{in: ".5", scale: 'C', want: 0.5, decimals: 1},
		{in: "5.", scale: 'C', want: 5},
		{in: "71.500000000000014", scale: 'C', want: 71.500000000000014, decimals: 15},
		{in: "-273.15", scale: 'C', want: -273.15, decimals: 2}, // absolute zero, by the definition of °C
		{in: "-459.67", scale: 'F', want: -459.67, decimals: 2}, // the same on the scale of Fahrenheit
		{in: "0", scale: 'K', want: 0},
		{in: "-273.16", scale: 'C', rule: "below-absolute-zero"},
		{in: "-459.68", scale: 'F', rule: "below-absolute-zero"},
		{in: "-0.1", scale: 'K', rule: "below-absolute-zero"},
		{in: "100000", scale: 'C', want: 100000},
		{in: "100000.1", scale: 'C', rule: "out-of-range"},
		{in: "-100001", scale: 'C', rule: "out-of-range"},
		{in: "NaN", scale: 'C', rule: "not-a-number"},
		{in: "Inf", scale: 'C', rule: "not-a-number"},
		{in: "-infinity", scale: 'C', rule: "not-a-number"},
		{in: "7.15e1", scale: 'C', rule: "not-a-number"},
		{in: "0x47", scale: 'C', rule: "not-a-number"},
		{in: "0b101", scale: 'C', rule: "not-a-number"},
		{in: "1_000", scale: 'C', rule: "not-a-number"},
		{in: "1,5", scale: 'C', rule: "not-a-number"},
		{in: "1.2.3", scale: 'C', rule: "not-a-number"},
		{in: "−18", scale: 'C', rule: "not-a-number"}, // a minus sign as typesetters write it
		{in: "71.5 ", scale: 'C', rule: "not-a-number"},
		{in: "-", scale: 'C', rule: "not-a-number"},
		{in: ".", scale: 'C', rule: "not-a-number"},
		{in: "00000000000000000000000000000000000000001", scale: 'C', rule: "not-a-number"},
	} {
		t.Run(c.in, func(t *testing.T) {
			t.Parallel()
			got, decimals, f := parseIndication(c.in, c.scale)
			if got != c.want || decimals != c.decimals || ruleOf(f) != c.rule {
				t.Errorf("got %v, %d decimals, %v; want %v, %d, %q", got, decimals, f, c.want, c.decimals, c.rule)
			}
		})
	}
}

// TestNegativeZero: a display that hovers about zero writes -0.0 and 0.0 by
// turns; they are the same reading.
func TestNegativeZero(t *testing.T) {
	t.Parallel()
	v, _, f := parseIndication("-0.0", unit.CelsiusScale)
	if f != nil || strconv.FormatFloat(v, 'f', 1, 64) != "0.0" {
		t.Errorf("got %v %v", v, f)
	}
}

func TestParseTemperature(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		in    string
		scale unit.Scale
		want  unit.Micro
		rule  string
	}{
		{in: "71.1", scale: 'C', want: 71_100_000},
		{in: "-0.000001", scale: 'C', want: -1},
		{in: "32.1000000000", scale: 'F', want: 32_100_000},
		{in: "010", scale: 'C', want: 10_000_000}, // ten, never eight
		{in: "32.1000001", scale: 'F', rule: "too-many-decimals"},
		{in: "-273.150001", scale: 'C', rule: "below-absolute-zero"},
		{in: "-459.670001", scale: 'F', rule: "below-absolute-zero"},
		{in: "-459.67", scale: 'F', want: -459_670_000},
		{in: "100001", scale: 'C', rule: "out-of-range"},
		{in: "1e2", scale: 'C', rule: "not-a-number"},
		{in: "0b1", scale: 'C', rule: "not-a-number"},
		{in: "1/3", scale: 'C', rule: "not-a-number"},
	} {
		t.Run(c.in, func(t *testing.T) {
			t.Parallel()
			got, f := parseTemperature(c.in, c.scale)
			if ruleOf(f) != c.rule || f == nil && got != c.want {
				t.Errorf("got %d %v, want %d %q", got, f, c.want, c.rule)
			}
		})
	}
}

// TestNumbersAgree: a temperature means the same read exactly and read as it was
// reported, and its decimals are those it was written with.
func TestNumbersAgree(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		decimals := rapid.IntRange(0, 6).Draw(t, "decimals")
		v := rapid.Float64Range(-273, 99_999).Draw(t, "degrees")
		text := strconv.FormatFloat(v, 'f', decimals, 64)
		exact, f := parseTemperature(text, unit.CelsiusScale)
		reported, n, g := parseIndication(text, unit.CelsiusScale)
		if f != nil || g != nil {
			t.Fatalf("%s: %v %v", text, f, g)
		}
		if int(n) != decimals || unit.FromFloat(reported, unit.Colder) != exact {
			t.Fatalf("%s: exact %v, reported %v with %d decimals", text, exact, reported, n)
		}
	})
}
