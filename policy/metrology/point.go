package metrology

import (
	"math"

	"lastgood/policy/unit"
)

// Point is one point of a check: what the instrument showed where the
// temperature was known.
type Point struct {
	Kind      string
	Reference Reference
	// Found and Left are what was indicated as found and as left, on the
	// reference's scale. A nil Found was not taken; a nil Left means that
	// nothing was adjusted.
	Found, Left *unit.Micro
	// U is the standard uncertainty of the error at this point: reference,
	// realisation and resolution of the display.
	U unit.CelsiusDiff
}

// NewPoint returns the point with its uncertainty combined.
//
//	u²(e) = u²(reference) + d²/12
//
//	u(reference)  standard uncertainty of the true temperature [K]
//	d             display step of the instrument, a difference [K]
//
// Range:   d ≥ 0; a nil resolution adds nothing.
// Assumes: the reading is rounded to the nearest step, so that its error is flat
// on ±d/2; the two parts are independent.
// Source:  JCGM 100:2008, 4.3.7 and F.2.2.1. Read: from memory.
// Departs: nothing.
// Checked: conformity_decision.csv CD0072 (0.29 of a step).
func NewPoint(kind string, ref Reference, found, left *unit.Micro, resolution *unit.Diff) Point {
	p := Point{Kind: kind, Reference: ref, Found: found, Left: left, U: ref.U}
	if resolution != nil {
		step := float64(resolution.Kelvin()) / math.Sqrt(12)
		p.U = unit.CelsiusDiff(math.Hypot(float64(ref.U), step))
	}
	return p
}

// FoundError is the error as found, in degrees of the reference's scale, and
// whether there is one.
func (p Point) FoundError() (unit.Micro, bool) {
	if p.Found == nil {
		return unit.Unknown, false
	}
	return *p.Found - p.Reference.True, true
}

// LeftError is the error as left, in degrees of the reference's scale, and
// whether there is one. Where nothing was adjusted it is the error as found.
func (p Point) LeftError() (unit.Micro, bool) {
	if p.Left == nil {
		return p.FoundError()
	}
	return *p.Left - p.Reference.True, true
}

// Implausible reports whether an error of this point is more than ten
// tolerances: found and reference are more likely to be swapped, or a unit
// mistaken, than an instrument to be that wrong.
func (p Point) Implausible(tolerance unit.Diff) bool {
	limit := 10 * ninths(tolerance)
	for _, of := range []func() (unit.Micro, bool){p.FoundError, p.LeftError} {
		if e, ok := of(); ok && abs(ninths(unit.Diff{Value: e, Scale: p.Reference.Scale})) > limit {
			return true
		}
	}
	return false
}
