package exchange

import (
	"math"
	"strconv"
	"strings"

	"lastgood/policy/unit"
)

// longestNumber is more digits than any instrument or spreadsheet writes.
const longestNumber = 40

// plainDecimal says whether s is digits with at most one point and a sign, and
// how many of the digits are decimals. NaN, infinities, exponents, hexadecimals
// and digit separators are not.
func plainDecimal(s string) (decimals int, ok bool) {
	i := 0
	if s != "" && (s[0] == '-' || s[0] == '+') {
		i = 1
	}
	count, point := 0, -1
	for ; i < len(s); i++ {
		switch c := s[i]; {
		case c-'0' <= 9:
			count++
		case c == '.' && point < 0:
			point = i
		default:
			return 0, false
		}
	}
	if point >= 0 {
		decimals = len(s) - point - 1
	}
	return decimals, count > 0 && len(s) <= longestNumber
}

func notANumber(s string) *flaw {
	return flawf("not-a-number", "%s is not a plain decimal number such as 71.5", quote(s))
}

func tooHot(s string) *flaw {
	return flawf("out-of-range", "%s is beyond %d degrees", quote(s), unit.MaxDegrees)
}

func belowAbsoluteZero(s string, scale unit.Scale) *flaw {
	return flawf("below-absolute-zero", "%s %v is below absolute zero", quote(s), scale)
}

// parseFloat reads a plain decimal number that is no temperature.
func parseFloat(s string) (float64, *flaw) {
	if _, ok := plainDecimal(s); !ok {
		return 0, notANumber(s)
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, notANumber(s)
	}
	return v, nil
}

// absoluteZero returns absolute zero on a scale.
func absoluteZero(s unit.Scale) unit.Micro { return unit.Convert(0, unit.KelvinScale, s, unit.Colder) }

// parseIndication reads a recorded temperature as it was reported.
func parseIndication(s string, scale unit.Scale) (v float64, decimals int8, f *flaw) {
	n, ok := plainDecimal(s)
	if !ok {
		return 0, 0, notANumber(s)
	}
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case err != nil || v > unit.MaxDegrees || v < -unit.MaxDegrees:
		return 0, 0, tooHot(s)
	case scale != 0 && v < absoluteZero(scale).Degrees():
		return 0, 0, belowAbsoluteZero(s, scale)
	case v == 0:
		v = 0 // some displays write -0.0, and a key must not tell it from 0.0
	}
	return v, int8(n), nil
}

// parseDegrees reads a temperature or a difference of temperatures exactly.
func parseDegrees(s string) (unit.Micro, *flaw) {
	n, ok := plainDecimal(s)
	if !ok {
		return 0, notANumber(s)
	}
	if n > 6 {
		keep := strings.TrimRight(s[len(s)-n+6:], "0")
		if keep != "" {
			return 0, flawf("too-many-decimals", "%s has more than six decimals", quote(s))
		}
	}
	m, err := unit.ParseMicro(s)
	if err != nil {
		return 0, tooHot(s)
	}
	return m, nil
}

// parseTemperature reads a temperature exactly.
func parseTemperature(s string, scale unit.Scale) (unit.Micro, *flaw) {
	m, f := parseDegrees(s)
	if f == nil && scale != 0 && m < absoluteZero(scale) {
		f = belowAbsoluteZero(s, scale)
	}
	return m, f
}

// longestOffset [s] is more than a clock is ever off: one that stands in another
// decade was never set, and its readings are refused by their times.
const longestOffset = 400 * 24 * 3600

// parseSeconds reads a time in seconds, as microseconds.
func parseSeconds(s string) (int64, *flaw) {
	decimals, ok := plainDecimal(s)
	if !ok {
		return 0, notANumber(s)
	}
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case decimals > 6:
		return 0, flawf("too-many-decimals", "%s has more than six decimals", quote(s))
	case err != nil || v > longestOffset || v < -longestOffset:
		return 0, flawf("out-of-range", "%s seconds are more than 400 days", quote(s))
	}
	return int64(math.Round(v * 1e6)), nil
}
