// Package unit holds the quantities of the trade: temperatures as they were
// recorded, differences between them, and the scales they are written in.
//
// A temperature and a difference between temperatures are two types, as
// time.Time and time.Duration are, so that nobody adds 273.15 or 32 to a
// difference.
package unit

import "fmt"

// Scale is a temperature scale. Its value is the letter it is written with.
type Scale byte

// The three scales. Fahrenheit and Celsius are what plants write; kelvin is
// accepted because loggers send it.
const (
	CelsiusScale    Scale = 'C'
	FahrenheitScale Scale = 'F'
	KelvinScale     Scale = 'K'
)

// ParseScale reads a unit as plants write it (C, F, K) or as the UN/CEFACT
// Recommendation 20 code (CEL, FAH, KEL). Nothing else is accepted: a unit that
// has to be guessed is a food-safety fault.
func ParseScale(s string) (Scale, error) {
	switch s {
	case "C", "CEL":
		return CelsiusScale, nil
	case "F", "FAH":
		return FahrenheitScale, nil
	case "K", "KEL":
		return KelvinScale, nil
	}
	return 0, fmt.Errorf("unknown unit %q: write C, F or K (or CEL, FAH, KEL)", s)
}

// String returns C, F or K.
func (s Scale) String() string {
	if s == 0 {
		return ""
	}
	return string(rune(s))
}

// perKelvin returns how many degrees of the scale one kelvin spans, as a
// fraction: 9/5 for Fahrenheit, 1/1 otherwise.
func (s Scale) perKelvin() (num, den int64) {
	if s == FahrenheitScale {
		return 9, 5
	}
	return 1, 1
}
