package limit

import "lastgood/policy/unit"

// Temperatures returns where an instrument must have been good for readings
// against the bound: at the bound.
func (b bound) Temperatures() []unit.Celsius { return []unit.Celsius{b.at.Celsius()} }

// nearBy [K] is how far from a bound an error still matters: a reading that is
// further on the good side has more margin than a thermometer in use loses
// unnoticed. A judgement.
const nearBy = 20

// Span returns the indicated temperatures at which an error can hide a miss: from
// the bound on the good side, as far as an error reaches.
func (b bound) Span() (lo, hi unit.Celsius) {
	t := b.at.Celsius()
	if b.harm == unit.Colder {
		return t, t + nearBy
	}
	return t - nearBy, t
}

// Span returns the indicated temperatures at which heat is earned: from two
// z-values below the reference, where a minute is worth 1 %, upward.
func (h heat) Span() (lo, hi unit.Celsius) {
	return h.model.Reference().Celsius().Add(-2 * h.model.Z()), unit.MaxDegrees
}

// Temperatures returns where an instrument must have been good for a lethality:
// at the reference temperature, near which heat is earned.
func (h heat) Temperatures() []unit.Celsius { return []unit.Celsius{h.model.Reference().Celsius()} }
