package unit

import (
	"math"
	"math/big"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

var sides = []Rounding{Colder, Hotter}

// anyMicro draws what may stand for a temperature, and often one near 0.
func anyMicro(t *rapid.T, label string) Micro {
	const most = MaxDegrees * PerDegree
	return Micro(rapid.OneOf(
		rapid.Int64Range(-most, most),
		rapid.Int64Range(-500*PerDegree, 500*PerDegree),
		rapid.Int64Range(-20, 20),
	).Draw(t, label))
}

// TestDecimalIsExact: a number with up to six decimals is that decimal, however
// it is rounded. The digits are put together as text, as an instrument does.
func TestDecimalIsExact(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`-?[0-9]{1,5}(\.[0-9]{1,6})?`).Draw(t, "decimal")
		v, err := strconv.ParseFloat(text, 64)
		if err != nil {
			t.Fatal(err)
		}
		want, _ := new(big.Rat).SetString(text)
		for _, side := range sides {
			if got := FromFloat(v, side); big.NewRat(int64(got), PerDegree).Cmp(want) != 0 {
				t.Fatalf("%s rounded %d is %v", text, side, got)
			}
		}
	})
}

// TestMoreDecimalsRoundToTheirSide: with more decimals, the nearest millionth on
// the side that was asked for, by long division of the shortest decimal.
func TestMoreDecimalsRoundToTheirSide(t *testing.T) {
	t.Parallel()
	floats := rapid.OneOf(
		rapid.Float64Range(-MaxDegrees, MaxDegrees),
		rapid.Float64Range(-300, 300),
		rapid.Float64Range(-3e-6, 3e-6),
		rapid.Custom(func(t *rapid.T) float64 { // a few steps of the float beside a half or a whole millionth
			v := float64(rapid.Int64Range(-4e8, 4e8).Draw(t, "halves")) / (2 * PerDegree)
			for range rapid.IntRange(0, 3).Draw(t, "steps") {
				v = math.Nextafter(v, math.Inf(1))
			}
			return v
		}),
	)
	rapid.Check(t, func(t *rapid.T) {
		v := floats.Draw(t, "v")
		shortest, _ := new(big.Rat).SetString(strconv.FormatFloat(v, 'f', -1, 64))
		for _, side := range sides {
			if got, want := FromFloat(v, side), rounded(shortest, side); got != want {
				t.Fatalf("%v rounded %d is %v, want %v", v, side, got, want)
			}
		}
	})
}

func TestFromFloatIsMonotone(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(-MaxDegrees, MaxDegrees).Draw(t, "a")
		b := rapid.OneOf(rapid.Float64Range(-MaxDegrees, MaxDegrees), rapid.Just(math.Nextafter(a, 1))).Draw(t, "b")
		a, b = min(a, b), max(a, b)
		for _, side := range sides {
			if FromFloat(a, side) > FromFloat(b, side) {
				t.Fatalf("%v ≤ %v, but rounded %d it is above", a, b, side)
			}
		}
	})
}

// TestComputedSnaps: float noise does not move a computed value off its whole
// millionth; anything larger is rounded to its side.
func TestComputedSnaps(t *testing.T) {
	t.Parallel()
	tenth, fifth := 0.1, 0.2 // variables: constants would be added exactly
	for _, side := range sides {
		if got := FromComputed(tenth+fifth, side); got != 300_000 { // 0.30000000000000004 in binary
			t.Errorf("0.1 + 0.2 rounded %d is %v", side, got)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		n := anyMicro(t, "millionths")
		noise := rapid.Float64Range(-0.9e-3, 0.9e-3).Draw(t, "noise") // within snap
		between := rapid.Float64Range(2e-3, 1-2e-3).Draw(t, "between")
		for _, side := range sides {
			if got := FromComputed((float64(n)+noise)/PerDegree, side); got != n {
				t.Fatalf("%v with noise of %v millionths rounded %d is %v", n, noise, side, got)
			}
		}
		v := (float64(n) + between) / PerDegree
		if low, high := FromComputed(v, Colder), FromComputed(v, Hotter); low != n || high != n+1 {
			t.Fatalf("%v and %v millionths lies between %v and %v", n, between, low, high)
		}
	})
}

// TestMicroIsWrittenAsItIsRead: String loses nothing and never uses an exponent.
func TestMicroIsWrittenAsItIsRead(t *testing.T) {
	t.Parallel()
	for m, want := range map[Micro]string{
		0: "0", 1: "0.000001", -1: "-0.000001", 71_100_000: "71.1", 165_000_000: "165",
		-MaxDegrees * PerDegree: "-100000", Unknown: "unknown",
	} {
		if got := m.String(); got != want {
			t.Errorf("%d millionths are written %q, want %q", int64(m), got, want)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		m := anyMicro(t, "m")
		if got, err := ParseMicro(m.String()); err != nil || got != m {
			t.Fatalf("%d millionths come back from %s as %d, %v", int64(m), m, int64(got), err)
		}
		if got := FromFloat(m.Degrees(), Colder); got != m {
			t.Fatalf("%v comes back from degrees as %v", m, got)
		}
	})
}
