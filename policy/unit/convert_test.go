package unit

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

var scales = []Scale{CelsiusScale, FahrenheitScale, KelvinScale}

func anyScale(t *rapid.T, label string) Scale { return rapid.SampledFrom(scales).Draw(t, label) }
func anySide(t *rapid.T) Rounding             { return rapid.SampledFrom(sides).Draw(t, "side") }

// line is a scale in kelvin: T/K = a·t + b, from NIST SP 811 Appendix B,
// T/K = t/°C + 273.15 and T/K = (t/°F + 459.67)/1.8.
var line = map[Scale]struct{ a, b *big.Rat }{
	CelsiusScale:    {big.NewRat(1, 1), big.NewRat(27315, 100)},
	FahrenheitScale: {big.NewRat(5, 9), big.NewRat(45967, 180)},
	KelvinScale:     {big.NewRat(1, 1), new(big.Rat)},
}

// exactly converts by the definition; a difference has no b.
func exactly(m Micro, from, to Scale, shift bool) *big.Rat {
	x := big.NewRat(int64(m), 1_000_000)
	x.Mul(x, line[from].a)
	if shift {
		x.Add(x, line[from].b).Sub(x, line[to].b)
	}
	return x.Quo(x, line[to].a)
}

// TestConvertByDefinition: every conversion is the defining line, rounded to its
// side by at most a millionth.
func TestConvertByDefinition(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m, from, to, side := anyMicro(t, "m"), anyScale(t, "from"), anyScale(t, "to"), anySide(t)
		if got, want := Convert(m, from, to, side), rounded(exactly(m, from, to, true), side); got != want {
			t.Fatalf("%v %v is %v %v, want %v", m, from, got, to, want)
		}
		if got, want := ConvertDiff(m, from, to, side), rounded(exactly(m, from, to, false), side); got != want {
			t.Fatalf("a difference of %v %v is %v %v, want %v", m, from, got, to, want)
		}
	})
}

func TestConvertIsMonotone(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a, from, to, side := anyMicro(t, "a"), anyScale(t, "from"), anyScale(t, "to"), anySide(t)
		b := a + Micro(rapid.Int64Range(0, 5*PerDegree).Draw(t, "more"))
		if x, y := Convert(a, from, to, side), Convert(b, from, to, side); x > y {
			t.Fatalf("%v ≤ %v %v, but %v > %v %v", a, b, from, x, y, to)
		}
		if x, y := ConvertDiff(a, from, to, side), ConvertDiff(b, from, to, side); x > y {
			t.Fatalf("differences %v ≤ %v %v, but %v > %v %v", a, b, from, x, y, to)
		}
	})
}

// TestConvertRoundTrip: there and back with the roundings opposed. A millionth
// of a degree Fahrenheit is smaller than one of a degree Celsius, so that the
// way by Fahrenheit loses nothing, and the way by Celsius at most one millionth,
// to the side of the first rounding.
func TestConvertRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m, from, to, side := anyMicro(t, "m"), anyScale(t, "from"), anyScale(t, "to"), anySide(t)
		back := Convert(Convert(m, from, to, side), to, from, -side)
		lost := (back - m) * Micro(side) // positive where it went further to the side
		if most := lossy(from, to); lost < 0 || lost > most {
			t.Fatalf("%v %v by %v comes back as %v", m, from, to, back)
		}
		diff := ConvertDiff(ConvertDiff(m, from, to, side), to, from, -side)
		if lost, most := (diff-m)*Micro(side), lossy(from, to); lost < 0 || lost > most {
			t.Fatalf("a difference of %v %v by %v comes back as %v", m, from, to, diff)
		}
	})
}

// lossy is how much a round trip may lose.
func lossy(from, to Scale) Micro {
	if from == FahrenheitScale && to != FahrenheitScale {
		return 1
	}
	return 0
}

// TestDiffIsBetweenTemperatures: a difference converts as what lies between two
// converted temperatures, and its sign turns with it.
func TestDiffIsBetweenTemperatures(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a, from, to, side := anyMicro(t, "a"), anyScale(t, "from"), anyScale(t, "to"), anySide(t)
		d := Micro(rapid.Int64Range(-300*PerDegree, 300*PerDegree).Draw(t, "d"))
		got := ConvertDiff(d, from, to, side)
		apart := Convert(a+d, from, to, side) - Convert(a, from, to, side)
		if off := got - apart; off < -1 || off > 1 {
			t.Fatalf("%v %v apart is %v %v apart, as a difference %v", d, from, apart, to, got)
		}
		if turned := ConvertDiff(-d, from, to, -side); turned != -got {
			t.Fatalf("%v %v is %v %v, but turned round %v", d, from, got, to, turned)
		}
	})
}

func TestUnknownStaysUnknown(t *testing.T) {
	t.Parallel()
	for _, from := range scales {
		for _, to := range scales {
			for _, side := range sides {
				if got := Convert(Unknown, from, to, side); got != Unknown {
					t.Errorf("an unknown temperature in %v becomes %d millionths %v", from, int64(got), to)
				}
				if got := ConvertDiff(Unknown, from, to, side); got != Unknown {
					t.Errorf("an unknown difference in %v becomes %d millionths %v", from, int64(got), to)
				}
			}
		}
	}
}

// TestFloatsFollowTheExactOnes: what is computed in floats agrees with the exact
// conversion to far less than a millionth, and back.
func TestFloatsFollowTheExactOnes(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m, s := anyMicro(t, "m"), anyScale(t, "scale")
		near := func(what string, got float64, want *big.Rat) {
			if w, _ := want.Float64(); math.Abs(got-w) > 1e-10 { // a few steps of the float at 100 000 degrees
				t.Fatalf("%s of %v %v is %v, want %v", what, m, s, got, w)
			}
		}
		near("Celsius", float64(Temperature{m, s}.Celsius()), exactly(m, s, CelsiusScale, true))
		near("kelvin", float64(Diff{m, s}.Kelvin()), exactly(m, s, KelvinScale, false))
		near("degrees", KelvinToDiff(CelsiusDiff(m.Degrees()), s), exactly(m, KelvinScale, s, false))

		t1, t2 := Celsius(m.Degrees()), Celsius(anyMicro(t, "other").Degrees())
		if got := t2.Add(t1.Sub(t2)); math.Abs(float64(got-t1)) > 1e-10 {
			t.Fatalf("%v less %v and added again is %v", t1, t2, got)
		}
	})
}
