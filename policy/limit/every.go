package limit

import (
	"fmt"
	"math"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// every is the rule of at least and at most: every reading on the right side of
// one temperature, the temperature itself included.
//
// A gap, or a moment of which nothing is known, leaves it undecided unless a
// reading has already failed: no reading can make up for another.
type every struct {
	bound
	gap int64 // [µs]; 0: gaps do not matter
}

// bound is a temperature that product must not pass in the harmful direction.
type bound struct {
	at   unit.Temperature
	harm unit.Rounding
}

// minimum and maximum are the two bounds there are.
func minimum(t unit.Temperature) bound { return bound{t, unit.Colder} }
func maximum(t unit.Temperature) bound { return bound{t, unit.Hotter} }

// Scale is the scale the bound is written in.
func (b bound) Scale() unit.Scale { return b.at.Scale }

// Harm is Colder for a minimum, Hotter for a maximum.
func (b bound) Harm() unit.Rounding { return b.harm }

// String returns "at least 165 F".
func (b bound) String() string {
	if b.harm == unit.Colder {
		return "at least " + b.at.String()
	}
	return "at most " + b.at.String()
}

// side returns how far t is on the right side of the bound; negative beyond it.
func (b bound) side(t unit.Micro) unit.Micro {
	if b.harm == unit.Colder {
		return t - b.at.Value
	}
	return b.at.Value - t
}

// least is the side of the reading nearest to harm.
func (b bound) least(h holes) unit.Micro {
	if b.harm == unit.Colder {
		return b.side(h.cold)
	}
	return b.side(h.hot)
}

// kelvin returns a distance on the bound's scale in kelvin.
func (b bound) kelvin(d unit.Micro) unit.CelsiusDiff {
	return unit.DiffToKelvin(d.Degrees(), b.at.Scale)
}

// celsius returns the temperature whose side is d in °C.
func (b bound) celsius(d unit.Micro) float64 {
	if b.harm == unit.Hotter {
		d = -d
	}
	return float64(unit.ToCelsius(b.at.Value+d, b.at.Scale))
}

// Judge decides by the reading nearest to harm.
func (e every) Judge(s series.Series) Outcome {
	h := look(s, e.gap)
	var out Outcome
	if h.known == 0 {
		return out
	}
	least := e.least(h)
	if h.unknown == 0 {
		out.Value = new(e.celsius(least))
	}
	switch {
	case least < 0:
		out.Decision = Fails
	case !h.any():
		out.Decision = Holds
	}
	return out
}

// Headroom is the distance of the reading nearest to harm from the bound.
func (e every) Headroom(s series.Series) (unit.CelsiusDiff, bool) { return headroom(e, s) }

func (e every) margin(s series.Series) unit.CelsiusDiff {
	h := look(s, 0)
	if h.known == 0 {
		return unit.CelsiusDiff(math.Inf(-1))
	}
	return e.kelvin(e.least(h))
}

func (e every) gapAfter() int64 { return e.gap }

func (e every) measure() Measure {
	name := "lowest temperature"
	if e.harm == unit.Hotter {
		name = "highest temperature"
	}
	return Measure{Name: name, Unit: "C", Required: new(e.celsius(0))}
}

func (e every) otherRules(series.Series) []named { return nil }

// headroom is the margin where the series decides and a shift could change it.
func headroom(c Criterion, s series.Series) (unit.CelsiusDiff, bool) {
	if c.Judge(s).Decision == Undecided {
		return 0, false
	}
	h := c.margin(s)
	return h, !math.IsInf(float64(h), 0)
}

// micros is a duration of a policy in microseconds; 0 if it was not given.
func micros(v Values, name string) int64 { return v.Duration[name].Microseconds() }

// clock returns a moment for people, in UTC.
func clock(at int64) string { return time.UnixMicro(at).UTC().Format(time.RFC3339) }

// span returns the time between two moments for people.
func span(from, to int64) string { return written(time.Duration(to-from) * time.Microsecond) }

// count returns "1 gap", "2 gaps".
func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
