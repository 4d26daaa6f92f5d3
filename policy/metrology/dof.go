package metrology

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"lastgood/policy/unit"
)

// manyDoF is from where on Student's t is taken as normal: its factor for 95 %
// is then within 2 parts in a million.
const manyDoF = 1e6

// Combine is the combined standard uncertainty of independent parts and its
// effective degrees of freedom; 0 means infinitely many.
//
//	u² = Σ uᵢ²,   ν_eff = u⁴ / Σ (uᵢ⁴/νᵢ)
//
//	uᵢ  standard uncertainty of a part [K], or any one unit
//	νᵢ  its degrees of freedom, 0 for infinitely many [1]
//
// Range:   uᵢ ≥ 0; ν_eff is not rounded, CoverageFactor cuts it down.
// Assumes: independent parts, each normal, each counting once (sensitivity 1).
// Source:  JCGM 100:2008, 5.1.2 eq. 10 and G.4.1 eq. G.2b (Welch–Satterthwaite).
// Read: from memory.
// Departs: nothing.
// Checked: conformity_decision.csv CD0073 and CD0074 (GUM G.4.1), CD0078, CD0080
// and CD0081 (GUM H.1).
func Combine(parts ...Component) (u unit.CelsiusDiff, dof float64) {
	var squares float64
	for _, c := range parts {
		squares += float64(c.U) * float64(c.U)
	}
	all := math.Sqrt(squares)
	var sum float64
	for _, c := range parts {
		if c.DoF > 0 && all > 0 {
			sum += math.Pow(float64(c.U)/all, 4) / c.DoF // relative, so that no fourth power underflows
		}
	}
	if sum > 0 {
		dof = 1 / sum
	}
	return unit.CelsiusDiff(all), dof
}

// CoverageFactor is the number of standard uncertainties on either side that
// hold a share p of the distribution: of Student's t, or of the normal one for
// infinitely many degrees of freedom (0).
//
//	t_p(ν) = F⁻¹((1 + p)/2; ⌊ν⌋)
//
//	p  coverage probability, 0 < p < 1   [1]
//	ν  degrees of freedom                [1]
//	F  distribution function of Student's t
//
// Range:   ν ≥ 1, or 0; less than 1 counts as 1. From a million on it is normal.
// Assumes: the result is t-distributed, near enough for a combined uncertainty.
// Source:  JCGM 100:2008, G.3.2 and table G.2; ν cut down to a whole number after
// G.4.1, note 1. Read: from memory.
// Departs: nothing.
// Checked: conformity_decision.csv CD0075, CD0082; normal_and_t.csv student_t_two_sided.
func CoverageFactor(p, dof float64) float64 {
	if dof == 0 || dof >= manyDoF {
		return distuv.UnitNormal.Quantile((1 + p) / 2)
	}
	return distuv.StudentsT{Sigma: 1, Nu: whole(dof)}.Quantile((1 + p) / 2)
}

// Expanded is the expanded uncertainty U of a standard uncertainty u: k·u, or
// t_p(ν)·u where the degrees of freedom are finite, with the coverage
// probability p that belongs to k: 95.45 % for k = 2.
func (r Rule) Expanded(u unit.CelsiusDiff, dof float64) unit.CelsiusDiff {
	k := r.coverage()
	if dof != 0 && u != 0 {
		k = CoverageFactor(math.Erf(k/math.Sqrt2), dof)
	}
	return unit.CelsiusDiff(k * float64(u))
}

// whole cuts degrees of freedom down to a whole number. What lies a rounding
// error below one counts as it.
func whole(dof float64) float64 { return max(1, math.Floor(dof*(1+1e-12))) }

// fewer is the smaller of two degrees of freedom, where 0 means infinitely many.
func fewer(a, b float64) float64 {
	if a == 0 || b != 0 && b < a {
		return b
	}
	return a
}
