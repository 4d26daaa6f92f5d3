package instrument

import (
	"testing"

	"lastgood/policy/metrology"
)

// Fewer degrees of freedom alone make a check another one: its expanded
// uncertainty grows.
func TestDegreesOfFreedomMakeAPointDiffer(t *testing.T) {
	t.Parallel()
	had := inForce{1: {{Check: 1, True: 70_000_000, U: 0.1, DoF: 2}}}
	for dof, want := range map[float64]bool{2: false, 5: true, 0: true} {
		p := []metrology.Point{{Reference: metrology.Reference{True: 70_000_000, U: 0.1, DoF: dof}}}
		if got := had.differ(1, p); got != want {
			t.Errorf("2 degrees of freedom before, %g now: differs %v, want %v", dof, got, want)
		}
	}
}
