package unit

import (
	"fmt"
	"strings"
)

// Celsius is a temperature, a point on the scale [°C].
type Celsius float64

// CelsiusDiff is a difference of temperatures: an error, a correction, an
// uncertainty, a z-value [K].
type CelsiusDiff float64

// Sub returns the difference t − u [K].
func (t Celsius) Sub(u Celsius) CelsiusDiff { return CelsiusDiff(t - u) }

// Add returns t + d [°C].
func (t Celsius) Add(d CelsiusDiff) Celsius { return t + Celsius(d) }

// Temperature is a temperature as somebody wrote it: exact, on its own scale.
type Temperature struct {
	Value Micro
	Scale Scale
}

// Celsius returns t in °C, for computing.
func (t Temperature) Celsius() Celsius { return ToCelsius(t.Value, t.Scale) }

// String returns the temperature as it is written in a policy: "165 F".
func (t Temperature) String() string { return t.Value.String() + " " + t.Scale.String() }

// On returns t on another scale, rounded by r where it does not fit.
func (t Temperature) On(s Scale, r Rounding) Temperature {
	return Temperature{Convert(t.Value, t.Scale, s, r), s}
}

// Diff is a temperature difference as somebody wrote it: exact, in degrees of
// its own scale.
type Diff struct {
	Value Micro
	Scale Scale
}

// Kelvin returns d in kelvin, for computing.
func (d Diff) Kelvin() CelsiusDiff { return DiffToKelvin(d.Value.Degrees(), d.Scale) }

// String returns the difference as it is written in a policy: "10 K".
func (d Diff) String() string { return d.Value.String() + " " + d.Scale.String() }

// ToCelsius returns the temperature m of scale s in °C, for computing.
func ToCelsius(m Micro, s Scale) Celsius {
	switch s {
	case FahrenheitScale:
		return Celsius((m.Degrees() - 32) * 5 / 9)
	case KelvinScale:
		return Celsius((m - 273_150_000).Degrees())
	}
	return Celsius(m.Degrees())
}

// DiffToKelvin returns a difference of d degrees of scale s in kelvin.
func DiffToKelvin(d float64, s Scale) CelsiusDiff {
	if s == FahrenheitScale {
		return CelsiusDiff(d * 5 / 9)
	}
	return CelsiusDiff(d)
}

// KelvinToDiff returns a difference of d kelvin in degrees of scale s.
func KelvinToDiff(d CelsiusDiff, s Scale) float64 {
	if s == FahrenheitScale {
		return float64(d) * 9 / 5
	}
	return float64(d)
}

// ParseTemperature reads a temperature with its unit: "165 F", "71.1 C".
// Whether one so cold or so hot can be is for the caller, who knows its use.
func ParseTemperature(s string) (Temperature, error) {
	m, sc, err := parseWithUnit(s)
	if err != nil {
		return Temperature{}, err
	}
	return Temperature{m, sc}, nil
}

// ParseDiff reads a temperature difference with its unit: "10 K", "2 F".
func ParseDiff(s string) (Diff, error) {
	m, sc, err := parseWithUnit(s)
	if err != nil {
		return Diff{}, err
	}
	return Diff{m, sc}, nil
}

func parseWithUnit(s string) (Micro, Scale, error) {
	f := strings.Fields(s)
	if len(f) != 2 {
		return 0, 0, fmt.Errorf("%q: write a number and a unit, as in 165 F", s)
	}
	sc, err := ParseScale(f[1])
	if err != nil {
		return 0, 0, err
	}
	m, err := ParseMicro(f[0])
	return m, sc, err
}
