package unit

import (
	"fmt"
	"math"
	"math/big"
	"strconv"
	"strings"
)

// Micro is a temperature or a temperature difference in millionths of a degree
// of a scale that the context names. Limits are compared in whole millionths,
// so that 161.0 °F meets 161 °F exactly and 71.1 °C does not meet 160 °F.
type Micro int64

// Unknown marks a temperature of which nothing can be said.
const Unknown Micro = math.MinInt64

// PerDegree is the number of Micro in one degree.
const PerDegree = 1_000_000

// MaxDegrees bounds what is accepted as a temperature, in degrees of any scale.
// Nothing in a food plant is hotter, and below it every step here is exact.
const MaxDegrees = 100_000

// Rounding says towards which side a value that does not fit in whole
// millionths is rounded.
type Rounding int8

// Colder rounds down, Hotter rounds up. Against a minimum limit Colder is
// towards harm; against a maximum limit Hotter is.
const (
	Colder Rounding = -1
	Hotter Rounding = 1
)

// Degrees returns m in degrees.
func (m Micro) Degrees() float64 { return float64(m) / PerDegree }

// String returns m in degrees with as many decimals as it has.
func (m Micro) String() string {
	if m == Unknown {
		return "unknown"
	}
	return strconv.FormatFloat(m.Degrees(), 'f', -1, 64)
}

// FromFloat returns the decimal that v stands for (its shortest decimal form,
// which is what was reported) in whole millionths, rounded by r if it has more
// decimals than six. v must be finite and within MaxDegrees.
func FromFloat(v float64, r Rounding) Micro {
	n := math.Round(v * PerDegree)
	back := n / PerDegree
	switch {
	case back == v: // v is the float nearest to n millionths, so n is the decimal
		return Micro(n)
	case r == Colder && back > v:
		return Micro(n) - 1
	case r == Hotter && back < v:
		return Micro(n) + 1
	}
	return Micro(n)
}

// snap is how far, in millionths, a computed value may lie from a whole
// millionth and still be taken for it: 1e-9 degrees, a thousand times the
// rounding noise of the float arithmetic here and a millionth of what any
// thermometer resolves.
const snap = 1e-3

// FromComputed returns a computed value (an error, a bound) in whole
// millionths, rounded by r unless it is a whole millionth but for float noise.
// v must be finite and within MaxDegrees.
func FromComputed(v float64, r Rounding) Micro {
	x := v * PerDegree
	n := math.Round(x)
	switch {
	case math.Abs(x-n) <= snap:
		return Micro(n)
	case r == Colder:
		return Micro(math.Floor(x))
	default:
		return Micro(math.Ceil(x))
	}
}

// Convert returns the temperature m of scale from on the scale to, exactly
// where it fits in whole millionths and rounded by r where it does not.
func Convert(m Micro, from, to Scale, r Rounding) Micro {
	if from == to || m == Unknown {
		return m
	}
	if from == FahrenheitScale {
		m = divide(int64(m-32*PerDegree)*5, 9, r)
		return m + celsiusZero(to)
	}
	m -= celsiusZero(from)
	if to == FahrenheitScale {
		return divide(int64(m)*9, 5, r) + 32*PerDegree
	}
	return m + celsiusZero(to)
}

// celsiusZero is 0 °C on the scale s (Celsius or kelvin).
func celsiusZero(s Scale) Micro {
	if s == KelvinScale {
		return 273_150_000
	}
	return 0
}

// ConvertDiff returns a temperature difference of scale from on the scale to.
// A difference scales by 9/5 and never shifts by 32.
func ConvertDiff(m Micro, from, to Scale, r Rounding) Micro {
	fn, fd := from.perKelvin()
	tn, td := to.perKelvin()
	if fn == tn || m == Unknown {
		return m
	}
	return divide(int64(m)*fd*tn, fn*td, r)
}

// divide returns a/b (b > 0) rounded down or up.
func divide(a, b int64, r Rounding) Micro {
	q, rest := a/b, a%b
	switch {
	case rest < 0 && r == Colder:
		q--
	case rest > 0 && r == Hotter:
		q++
	}
	return Micro(q)
}

// ParseMicro reads a decimal number of degrees. It refuses NaN, infinities,
// exponents, more than six decimals and anything beyond MaxDegrees.
func ParseMicro(s string) (Micro, error) {
	if digits := strings.TrimLeft(s, "+-"); digits == "" || len(digits) < len(s)-1 || strings.Trim(digits, "0123456789.") != "" {
		return 0, fmt.Errorf("%q is not a plain decimal number", s)
	}
	rat, ok := new(big.Rat).SetString(s)
	if !ok {
		return 0, fmt.Errorf("%q is not a number", s)
	}
	rat.Mul(rat, big.NewRat(PerDegree, 1))
	if !rat.IsInt() {
		return 0, fmt.Errorf("%q has more than six decimals", s)
	}
	n := rat.Num()
	if !n.IsInt64() || n.Int64() > MaxDegrees*PerDegree || n.Int64() < -MaxDegrees*PerDegree {
		return 0, fmt.Errorf("%q is not a temperature: beyond %d degrees", s, MaxDegrees)
	}
	return Micro(n.Int64()), nil
}
