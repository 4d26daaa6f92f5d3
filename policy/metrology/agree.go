package metrology

import (
	"math"

	"lastgood/policy/unit"
)

// Estimate is a temperature as one instrument gives it, its error taken out.
type Estimate struct {
	X unit.Celsius
	U unit.CelsiusDiff // standard uncertainty [K]
}

// EN is how far two values of the same temperature lie apart, measured by what
// both leave open. They agree where |E_n| ≤ 1.
//
//	E_n = (x1 − x2) / √(U1² + U2²)    [1]
//
//	x1, x2  the values, each corrected for its instrument's error  [°C]
//	U1, U2  their expanded uncertainties (k = 2)                   [K]
//
// Range:   any; 0 for equal values without uncertainty, infinite for different
// ones.
// Assumes: independent errors; a shared part belongs in neither U.
// Source:  ISO/IEC 17043 and ISO 13528, E_n score. Read: second-hand, through
// published/metrology/conformity_decision.csv.
// Departs: nothing.
// Checked: conformity_decision.csv CD0114; drift_interval.csv DI0105, DI0106.
func EN(x1 unit.Celsius, u1 unit.CelsiusDiff, x2 unit.Celsius, u2 unit.CelsiusDiff) float64 {
	d := float64(x1.Sub(x2))
	if d == 0 {
		return 0
	}
	return d / math.Hypot(float64(u1), float64(u2))
}

// WeightedMean is what two instruments say of one temperature together, and
// whether they agree. Where they do not, it is no estimate of anything: the one
// with valid checks stands alone.
//
//	x = (w1 x1 + w2 x2) / (w1 + w2),   wᵢ = 1/uᵢ²
//	u² = 1/(w1 + w2) + u_c²
//
//	xᵢ   corrected values                               [°C]
//	uᵢ   standard uncertainties of the independent parts [K]
//	u_c  standard uncertainty of what both share, as a
//	     common reference                               [K]
//
// Range:   u1, u2 > 0; not a number otherwise. Agreement is |E_n| ≤ 1 with k = 2.
// Assumes: normal errors, independent but for u_c.
// Source:  design notes on errors, §9: least squares of two values, with the shared
// part added after JCGM 100:2008, 5.1.2.
// Departs: nothing.
// Checked: drift_interval.csv DI0105, DI0106.
func WeightedMean(a, b Estimate, common unit.CelsiusDiff) (mean Estimate, agree bool) {
	wa, wb := 1/float64(a.U*a.U), 1/float64(b.U*b.U)
	mean.X = unit.Celsius((wa*float64(a.X) + wb*float64(b.X)) / (wa + wb))
	mean.U = unit.CelsiusDiff(math.Sqrt(1/(wa+wb) + float64(common*common)))
	return mean, math.Abs(EN(a.X, 2*a.U, b.X, 2*b.U)) <= 1
}

// AmongAlike is the bias of one instrument, judged by others of its kind that
// read the same thing, where none of them has a valid check.
//
//	b = (y − ȳ) n/(n + 1),   u = σ / √(n + 1)
//
//	y  what the instrument declares                    [any one unit]
//	ȳ  mean of what the n others declare               [same]
//	σ  prior standard deviation of any one's bias      [same], PriorSpread
//
// Range:   at least one other, else not a number.
// Assumes: equal priors, normal and independent; nothing but bias between them.
// Source:  NASA RP 1342 (1994), appendix D.4, statistical measurement process
// control. Read: second-hand, through published/metrology/conformity_decision.csv.
// Departs: nothing.
// Checked: conformity_decision.csv CD0196 to CD0202.
func AmongAlike(declared float64, others []float64, prior float64) (bias, u float64) {
	var sum float64
	for _, y := range others {
		sum += y
	}
	n := float64(len(others))
	return (declared - sum/n) * n / (n + 1), prior / math.Sqrt(n+1)
}
