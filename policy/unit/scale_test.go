package unit

import "testing"

// TestParseScale: the letters of a plant and the codes of UN/CEFACT
// Recommendation 20, and nothing that has to be guessed.
func TestParseScale(t *testing.T) {
	t.Parallel()
	for in, want := range map[string]Scale{
		"C": CelsiusScale, "CEL": CelsiusScale,
		"F": FahrenheitScale, "FAH": FahrenheitScale,
		"K": KelvinScale, "KEL": KelvinScale,
	} {
		got, err := ParseScale(in)
		if err != nil || got != want {
			t.Errorf("%q is %v, %v; want %v", in, got, err, want)
		}
		if again, err := ParseScale(got.String()); err != nil || again != got {
			t.Errorf("%v is written %q and not read again", got, got.String())
		}
	}
	for _, in := range []string{
		"", " ", "c", "f", "k", "cel", "fah", "kel", "Cel", "Fah",
		"°C", "°F", "°K", "℃", "℉", "degC", "degF", "deg F", "Celsius", "fahrenheit", "kelvin",
		" C", "C ", "CC", "CF", "R", "RAN", "\x00", "С", // the last is a Cyrillic letter
	} {
		refused(t, in, "unknown unit", func() (Scale, error) { return ParseScale(in) })
	}
	if got := Scale(0).String(); got != "" {
		t.Errorf("no scale is written %q", got)
	}
}
