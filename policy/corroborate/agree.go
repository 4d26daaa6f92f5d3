package corroborate

import (
	"math"

	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// Agreement is how well two instruments agree where both read at nearly the
// same time.
type Agreement struct {
	Tested     bool    // some pair of readings was near enough
	Impossible bool    // nothing bounds the error in doubt, so nothing can be compared
	Pairs      int     // readings that were compared
	Alone      int     // readings in doubt without one of the second instrument near in time
	Largest    float64 // the largest |E_n|
}

// Holds says whether they agree: |E_n| ≤ 1 for every pair.
func (a Agreement) Holds() bool { return a.Tested && a.Largest <= 1 }

// Agree compares the readings of two instruments of the same product. The paths
// are in order of time, on one scale; within [µs] is how far apart in time two
// readings may be to be compared.
//
//	E_n = (X₁ − X₂) / √(U₁² + U₂²)        [1], agreement: |E_n| ≤ 1
//
//	Xᵢ  reading less the middle of its bracket       [K]
//	Uᵢ  half the width of its bracket                [K]
//
// Range:   readings of unknown error are left out; if the first instrument has
// none but those, agreement is impossible to test. Every reading in doubt must
// have one of the second instrument near it, or it stands alone.
// Assumes: the product's temperature is the same for both.
// Source:  metrology.EN.
// Departs: the half bracket holds the expanded uncertainty and what the two
// checks leave open, so it is wider than U alone: what disagrees all the same
// cannot be explained by either.
// Checked: by hand, corroborate_test.go.
func Agree(first, second []limit.Path, scale unit.Scale, within int64) Agreement {
	a := Agreement{Impossible: true}
	j := 0
	for _, p := range first {
		for j+1 < len(second) && gap(second[j+1].At, p.At) <= gap(second[j].At, p.At) {
			j++
		}
		near := j < len(second) && gap(second[j].At, p.At) <= within
		if !near && (p.Standing != metrology.Trusted || p.Recorded == unit.Unknown) {
			a.Alone++
		}
		x1, u1, ok := middle(p, scale)
		if !ok {
			continue
		}
		a.Impossible = false
		if !near {
			continue
		}
		x2, u2, ok := middle(second[j], scale)
		if !ok {
			continue
		}
		a.Tested = true
		a.Pairs++
		a.Largest = max(a.Largest, math.Abs(metrology.EN(x1, u1, x2, u2)))
	}
	return a
}

func gap(a, b int64) int64 { return max(a-b, b-a) }

// middle is a reading corrected by the middle of its bracket, and half the
// bracket's width.
func middle(p limit.Path, scale unit.Scale) (x unit.Celsius, u unit.CelsiusDiff, ok bool) {
	if p.Recorded == unit.Unknown || p.Standing == metrology.Unknown {
		return 0, 0, false
	}
	e := p.Error
	return unit.ToCelsius(p.Recorded, scale).Add(-(e.Lo + e.Hi) / 2), (e.Hi - e.Lo) / 2, true
}
