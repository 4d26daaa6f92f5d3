package metrology

import (
	"errors"
	"fmt"
	"math"

	"lastgood/policy/unit"
)

// The kinds of point that need no reference standard, in the words of the
// exchange format.
const (
	icePoint     = "ice"
	boilingPoint = "boiling"
)

// Point is one point of a check: what the instrument showed where the
// temperature was known.
type Point struct {
	Kind      string
	Reference Reference
	// Found and Left are what was indicated as found and as left, on the
	// reference's scale. A nil Found was not taken. A nil Left means that nothing
	// was adjusted, unless the check has a Left at another point or says that it
	// was adjusted: then nobody looked.
	Found, Left *unit.Micro
	// ReferenceID names the reference standard that was compared with; empty for
	// ice and boiling water, and where nobody knows.
	ReferenceID string
	// Repeats and Spread are how many indications Found, or Left, is the mean of
	// and their experimental standard deviation [K]; zero where it was taken once.
	Repeats int
	Spread  unit.CelsiusDiff
	// U is the standard uncertainty of the error at this point: reference,
	// realisation, resolution of the display, and spread of the repeats. DoF is
	// its effective degrees of freedom; 0 means infinitely many.
	U   unit.CelsiusDiff
	DoF float64
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
// Checked: conformity_decision.csv CD0070, CD0072 (0.29 of a step).
func NewPoint(kind string, ref Reference, found, left *unit.Micro, resolution *unit.Diff) Point {
	p := Point{Kind: kind, Reference: ref, Found: found, Left: left, U: ref.U, DoF: ref.DoF}
	if resolution != nil {
		p = p.with(Component{Name: "resolution", U: resolution.Kelvin() / unit.CelsiusDiff(math.Sqrt(12))})
	}
	return p
}

// Repeated returns the point with the spread of its repeats in its uncertainty:
// its value is the mean of n indications.
//
//	u²(e) = u² + s²/n,   ν = n − 1 for the added part
//
//	u  standard uncertainty without the repeats              [K]
//	s  experimental standard deviation of the indications    [K]
//	n  number of indications                                 [1]
//
// Range:   n ≥ 2 and s ≥ 0, else an error; once only for each point.
// Assumes: the repeats are independent; the reference did not move meanwhile.
// Source:  JCGM 100:2008, 4.2.3 and 4.2.6. Read: from memory.
// Departs: nothing.
// Checked: conformity_decision.csv CD0067 and CD0069 (GUM 4.4.3).
func (p Point) Repeated(n int, s unit.CelsiusDiff) (Point, error) {
	if n < 2 || !(s >= 0) || math.IsInf(float64(s), 0) {
		return p, fmt.Errorf("%d repeats with a spread of %g K say nothing of a spread: at least 2 are needed", n, float64(s))
	}
	if p.Repeats != 0 {
		return p, errors.New("the repeats of this point are counted already")
	}
	p.Repeats, p.Spread = n, s
	return p.with(Component{Name: "repeats", U: s / unit.CelsiusDiff(math.Sqrt(float64(n))), DoF: float64(n - 1)}), nil
}

// with adds an independent part to the point's uncertainty.
func (p Point) with(part Component) Point {
	p.U, p.DoF = Combine(Component{U: p.U, DoF: p.DoF}, part)
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
