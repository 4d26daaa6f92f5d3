// Package lethality adds up what heat has done: the lethal rate of a
// temperature, and its integral over a record by three rules.
//
// The verdict uses Exact. Trapezoid and SumStep are the rules that published
// examples and plant forms use; a report shows them beside it.
package lethality

import (
	"fmt"
	"math"

	"lastgood/policy/unit"
)

// Minutes are minutes at the reference temperature that would have the same
// effect. They are no duration.
type Minutes float64

// Model is a log-linear lethal-rate model on one temperature scale.
type Model struct {
	scale   unit.Scale
	ref     unit.Micro
	from    unit.Micro // readings below it earn nothing; none: all earn
	perStep float64    // ln 10 / z, per millionth of a degree
	atFloor point
}

// none is a floor below every temperature there is.
const none = unit.Unknown + 1

// The range of z that a model accepts. Published values for organisms in food
// lie well inside, from 4 K to 15 K; outside, a unit or a decimal point has
// slipped.
const (
	MinZ unit.CelsiusDiff = 1
	MaxZ unit.CelsiusDiff = 100
)

// New returns the model with the given reference temperature, z-value and,
// unless from is nil, the floor below which nothing is counted. A record is
// integrated on the scale of the reference.
func New(reference unit.Temperature, z unit.Diff, from *unit.Temperature) (Model, error) {
	if k := z.Kelvin(); k < MinZ || k > MaxZ {
		return Model{}, fmt.Errorf("z is %v: it must be from %v K to %v K", z, MinZ, MaxZ)
	}
	degrees := unit.KelvinToDiff(z.Kelvin(), reference.Scale)
	if z.Scale == reference.Scale {
		degrees = z.Value.Degrees()
	}
	m := Model{
		scale: reference.Scale, ref: reference.Value, from: none,
		perStep: math.Ln10 / (degrees * unit.PerDegree),
	}
	if from != nil {
		m.from = from.On(m.scale, unit.Hotter).Value // a higher floor earns less
		m.atFloor = m.at(m.from)
	}
	return m, nil
}

// Scale is the scale that records are integrated on.
func (m Model) Scale() unit.Scale { return m.scale }

// Z is the z-value: what makes a minute worth ten.
func (m Model) Z() unit.CelsiusDiff {
	return unit.DiffToKelvin(math.Ln10/(m.perStep*unit.PerDegree), m.scale)
}

// Reference is the temperature at which a minute counts as a minute.
func (m Model) Reference() unit.Temperature { return unit.Temperature{Value: m.ref, Scale: m.scale} }

// Rate returns the lethal rate at t, a temperature on the model's scale:
// minutes at the reference temperature per minute at t. The floor does not
// touch it.
//
//	L = 10^((T − Tref)/z) = exp((T − Tref)·ln 10/z)        [1]
//
//	T     temperature of the product          [degrees of the scale]
//	Tref  reference temperature               [degrees of the scale]
//	z     temperature change for one decade   [degrees of the scale, 1 K to 100 K]
//
// Range:    z as above; rates above 10^100 are held there, so that sums stay
// finite (nothing in a plant comes near).
// Assumes:  log-linear inactivation, one z over the whole range.
// Source:   the equivalence L = 10^((T−Tref)/z) as printed with its lethal-rate
// tables in the copies listed in testdata/published/thermal/equivalents.csv
// (rows REI, ISO, PU). Read: second-hand, from those copies.
// Departs:  exp instead of a power of ten, five times cheaper; equal to 1e-13.
// Checked:  testdata/published/thermal/equivalents.csv, f0_worked_examples.csv.
func (m Model) Rate(t unit.Micro) float64 { return m.at(t).rate }

// point is one temperature with its lethal rate.
type point struct {
	t    unit.Micro
	x    float64 // ln of the rate
	rate float64
}

// maxExponent is ln 10^100.
const maxExponent = 100 * math.Ln10

func (m Model) at(t unit.Micro) point {
	x := min(float64(t-m.ref)*m.perStep, maxExponent)
	return point{t, x, math.Exp(x)}
}
