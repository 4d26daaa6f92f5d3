package unit

import (
	"math"
	"testing"
)

// TestKnownTemperatures: conversions that people in the trade know by heart.
func TestKnownTemperatures(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ from, to string }{
		{"71.1 C", "159.98 F"},  // UN/CEFACT Recommendation 20 codes, definition of °F in NIST SP 811 Appendix B
		{"4 C", "39.2 F"},       // the same
		{"121.1 C", "249.98 F"}, // the same
		{"-40 C", "-40 F"},      // common crossing point, UC0056
		{"41 F", "5 C"},         // FDA Food Code 3-501.16 cold holding, UC0043
		{"212 F", "100 C"},      // UC0119
		{"32 F", "0 C"},         // UC0097
		{"0 C", "273.15 K"},     // NIST SP 811 Appendix B, UC0054
		{"-459.67 F", "0 K"},    // NIST SP 811 Appendix B, T/K = (t/°F + 459.67)/1.8, UC0055
		{"-273.15 C", "-459.67 F"},
	} {
		from, to := temperature(t, c.from), temperature(t, c.to)
		for _, side := range []Rounding{Colder, Hotter} {
			if got := from.On(to.Scale, side); got != to {
				t.Errorf("%v is %v rounded %d, want %v", from, got, side, to)
			}
			if got := to.On(from.Scale, side); got != from {
				t.Errorf("%v is %v rounded %d, want %v", to, got, side, from)
			}
		}
		if got, want := from.Celsius(), to.Celsius(); math.Abs(float64(got.Sub(want))) > 1e-12 { // float noise
			t.Errorf("%v computes as %v °C and %v as %v °C", from, got, to, want)
		}
	}
}

// Test160FahrenheitIsNot71Point1Celsius: 160 °F is 71.111… °C, UC0112. Its usual
// short form 71.1 °C is 159.98 °F, below the limit.
func Test160FahrenheitIsNot71Point1Celsius(t *testing.T) {
	t.Parallel()
	limit := temperature(t, "160 FAH")
	if below, above := limit.On(CelsiusScale, Colder), limit.On(CelsiusScale, Hotter); below != temperature(t, "71.111111 C") || above != temperature(t, "71.111112 C") {
		t.Errorf("%v lies between %v and %v", limit, below, above)
	}
	for _, side := range []Rounding{Colder, Hotter} {
		if sent := Convert(FromFloat(71.1, side), CelsiusScale, limit.Scale, side); sent >= limit.Value {
			t.Errorf("71.1 CEL sent for 160 FAH meets it as %v FAH", sent)
		}
	}
	if sent := Convert(FromFloat(71.2, Colder), CelsiusScale, limit.Scale, Colder); sent < limit.Value { // the safe tenth of UC0112
		t.Errorf("71.2 CEL is %v FAH, below 160 FAH", sent)
	}
}

// TestDifferenceIsNeverShifted (X20): a difference converted as a temperature
// would turn an error of 2 °C into 35.6 °F.
func TestDifferenceIsNeverShifted(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ from, colder, hotter string }{
		{"2.0 CEL", "3.6 FAH", "3.6 FAH"},              // and not 35.6: factor 9/5, NIST SP 811 Appendix B
		{"1.0 CEL", "1.8 FAH", "1.8 FAH"},              // and not 33.8, UC0057
		{"0.5 FAH", "0.277777 CEL", "0.277778 CEL"},    // 5/18, UC0030
		{"-0.5 FAH", "-0.277778 CEL", "-0.277777 CEL"}, // UC0058
		{"0 CEL", "0 FAH", "0 FAH"},
		{"18 F", "10 K", "10 K"}, // z-value of a retort, 18 °F = 10 °C, common practice
		{"10 K", "10 C", "10 C"}, // a kelvin is a degree Celsius, and 273.15 is no part of it
	} {
		from := difference(t, c.from)
		for side, want := range map[Rounding]Diff{Colder: difference(t, c.colder), Hotter: difference(t, c.hotter)} {
			if got := ConvertDiff(from.Value, from.Scale, want.Scale, side); got != want.Value {
				t.Errorf("a difference of %v is %v %v rounded %d, want %v", from, got, want.Scale, side, want)
			}
		}
		if got, want := float64(from.Kelvin()), float64(difference(t, c.colder).Kelvin()); math.Abs(got-want) > 1e-6 {
			t.Errorf("a difference of %v computes as %v K, want %v K", from, got, want)
		}
	}
}

// TestUnitMixUp (X19): 71.2 with the unit FAH is 71.2 °F. Nothing here guesses
// that °C was meant; that it is implausible is for whoever takes readings in.
func TestUnitMixUp(t *testing.T) {
	t.Parallel()
	sent := temperature(t, "71.2 FAH")
	if got, want := sent.On(CelsiusScale, Hotter), temperature(t, "21.777778 C"); got != want { // 39.2 · 5/9 = 21.777…
		t.Errorf("71.2 FAH is read as %v, want %v", got, want)
	}
	if limit := temperature(t, "160 FAH"); sent.Value >= limit.Value {
		t.Errorf("71.2 FAH meets %v", limit)
	}
}

// TestReadingExactlyAtLimit (X42): a reading at the limit is the limit, one
// millionth off is not, whatever the unit of the limit.
func TestReadingExactlyAtLimit(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		limit   string
		reading float64
	}{
		{"161 F", 161.0}, // PMO HTST, testdata/published/thermal/pasteurization.csv PMO-002
		{"71.7 C", 71.7},
		{"5 C", 5},
		{"-18 C", -18.0},
		{"273.15 K", 273.15},
	} {
		limit := temperature(t, c.limit)
		for _, side := range []Rounding{Colder, Hotter} {
			if got := FromFloat(c.reading, side); got != limit.Value {
				t.Errorf("%v rounded %d is %v, want %v itself", c.reading, side, got, limit)
			}
		}
		if got := FromFloat(c.reading-1e-6, Hotter); got != limit.Value-1 {
			t.Errorf("a millionth below %v is %v", limit, got)
		}
		if got := FromFloat(c.reading+1e-6, Colder); got != limit.Value+1 {
			t.Errorf("a millionth above %v is %v", limit, got)
		}
		// Less than a millionth off goes to the side of harm, and so to the
		// wrong side of the limit.
		if got := FromFloat(c.reading-4e-7, Colder); got >= limit.Value {
			t.Errorf("just below a minimum of %v is %v", limit, got)
		}
		if got := FromFloat(c.reading+4e-7, Hotter); got <= limit.Value {
			t.Errorf("just above a maximum of %v is %v", limit, got)
		}
	}
	// 5 °C sent for a limit of 41 °F is the limit, UC0078.
	if got, limit := Convert(FromFloat(5, Hotter), CelsiusScale, FahrenheitScale, Hotter), temperature(t, "41 F"); got != limit.Value {
		t.Errorf("5 °C is %v °F", got)
	}
}

func temperature(t testing.TB, s string) Temperature {
	t.Helper()
	v, err := ParseTemperature(s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func difference(t testing.TB, s string) Diff {
	t.Helper()
	v, err := ParseDiff(s)
	if err != nil {
		t.Fatal(err)
	}
	return v
}
