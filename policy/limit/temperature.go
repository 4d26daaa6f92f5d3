package limit

import "lastgood/policy/unit"

// Temperatures returns where an instrument must have been good for readings
// against the bound: at the bound.
func (b bound) Temperatures() []unit.Celsius { return []unit.Celsius{b.at.Celsius()} }

// Temperatures returns where an instrument must have been good for a lethality:
// at the reference temperature, near which heat is earned.
func (h heat) Temperatures() []unit.Celsius { return []unit.Celsius{h.model.Reference().Celsius()} }
