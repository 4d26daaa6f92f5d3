package limit

import (
	"testing"

	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

func TestEveryKindSaysItsFormula(t *testing.T) {
	t.Parallel()
	for _, k := range kinds {
		if len(Formulas(k.Name)) != 3 {
			t.Errorf("%s says no formula", k.Name)
		}
	}
	if Formulas("no such kind") != nil {
		t.Error("a kind that is not there has a formula")
	}
}

// upTo is an instrument that nothing is known of above a temperature, and whose
// error below it lies between 1 and 2 K.
type upTo unit.Celsius

func (u upTo) At(at int64, x unit.Celsius) (metrology.Bounds, metrology.Standing) {
	switch {
	case at == 1:
		return metrology.Bounds{}, metrology.Trusted
	case x > unit.Celsius(u):
		return metrology.Bounds{}, metrology.Unknown
	}
	return metrology.Bounds{Lo: 1, Hi: 2, Old: 1, Found: 1.5, U: 0.1}, metrology.Known
}

func (upTo) Reason(int64, unit.Celsius) string { return "" }

// The numbers are plain arithmetic: reading − error, in Celsius.
func TestPathsAreWhatEvaluateTakes(t *testing.T) {
	t.Parallel()
	k, err := Lookup("at_least")
	if err != nil {
		t.Fatal(err)
	}
	at, err := unit.ParseTemperature("71 C")
	if err != nil {
		t.Fatal(err)
	}
	l, err := k.New("cook", Values{Temperature: map[string]unit.Temperature{"temperature": at}})
	if err != nil {
		t.Fatal(err)
	}
	s := series.Series{Scale: unit.CelsiusScale, Samples: []series.Sample{
		{At: 1, T: 74 * unit.PerDegree}, {At: 2, T: 74 * unit.PerDegree}, {At: 3, T: 90 * unit.PerDegree}, {At: 4, T: unit.Unknown}}}
	got, err := l.Paths(s, upTo(80))
	if err != nil {
		t.Fatal(err)
	}
	degrees := func(v float64) unit.Micro { return unit.FromFloat(v, unit.Colder) }
	want := []Path{
		{At: 1, Standing: metrology.Trusted, Recorded: degrees(74), Corrected: degrees(74), Worst: degrees(74), Best: degrees(74)},
		{At: 2, Standing: metrology.Known, Error: metrology.Bounds{Lo: 1, Hi: 2, Old: 1, Found: 1.5, U: 0.1},
			Recorded: degrees(74), Corrected: degrees(72.5), Worst: degrees(72), Best: degrees(73)},
		{At: 3, Standing: metrology.Unknown, Recorded: degrees(90), Corrected: unit.Unknown, Worst: unit.Unknown, Best: unit.Unknown},
		{At: 4, Standing: metrology.Unknown, Recorded: unit.Unknown, Corrected: unit.Unknown, Worst: unit.Unknown, Best: unit.Unknown},
	}
	for i := range want {
		if got[i] != want[i] {
			t.Errorf("reading %d: %+v, want %+v", i, got[i], want[i])
		}
	}
	if _, err := l.Paths(series.Series{Scale: unit.FahrenheitScale}, upTo(80)); err == nil {
		t.Error("a series on another scale is taken")
	}
}
