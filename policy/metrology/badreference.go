package metrology

import (
	"math"

	"lastgood/policy/unit"
)

// WithReferenceError is the error of an instrument at a check whose reference
// was later found to be wrong.
//
//	e ∈ [e_rec + ρ_lo, e_rec + ρ_hi],   u² = u_rec² + u_ρ²
//
//	e_rec         error as recorded, indicated − reference reading  [K]
//	u_rec         its standard uncertainty                          [K]
//	ρ_lo … ρ_hi   bracket of the reference's own error, reference
//	              reading − true, at that temperature and time      [K]
//	u_ρ           standard uncertainty of that                      [K]
//
// Range:   ρ_lo ≤ ρ_hi. A wrong pressure at a boiling point is the same case,
// with ρ = T used − T sat.
// Assumes: the check itself was sound; ρ is common to all checks made with the
// reference and never averages out.
// Source:  design notes on errors, §7.
// Departs: u_rec may hold a part for the reference already, which is then counted
// twice. The engine does not re-judge: it takes the check for no check, which is
// never the milder.
// Checked: drift_interval.csv DI0103.
func WithReferenceError(recorded, u, rhoLo, rhoHi, uRho unit.CelsiusDiff) (lo, hi, combined unit.CelsiusDiff) {
	return recorded + rhoLo, recorded + rhoHi, unit.CelsiusDiff(math.Hypot(float64(u), float64(uRho)))
}
