package unit

import (
	"fmt"
	"testing"
)

// sink keeps the compiler from leaving out what is measured.
var sink Micro

// BenchmarkFromFloat is one reading on its way into a series.
func BenchmarkFromFloat(b *testing.B) {
	for _, v := range []float64{71.1, 71.123456789} { // a decimal, and one that is rounded
		b.Run(fmt.Sprint(v), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				sink = FromFloat(v, Colder)
			}
		})
	}
}

// BenchmarkConvert is one reading on its way to the scale of its limit.
func BenchmarkConvert(b *testing.B) {
	for _, c := range []struct{ from, to Scale }{
		{CelsiusScale, CelsiusScale},
		{CelsiusScale, FahrenheitScale},
		{FahrenheitScale, CelsiusScale},
		{KelvinScale, FahrenheitScale},
	} {
		b.Run(c.from.String()+c.to.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				sink = Convert(71_100_000, c.from, c.to, Colder)
			}
		})
	}
}

func BenchmarkParseTemperature(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		t, err := ParseTemperature("71.1 C")
		if err != nil {
			b.Fatal(err)
		}
		sink = t.Value
	}
}
