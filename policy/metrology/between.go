package metrology

import "math"

// Between is the standard uncertainty of an error interpolated between two
// points, a share λ of the way from the first to the second.
//
//	u² = (1−λ)² ua² + λ² ub² + 2 λ (1−λ) r ua ub + u_nl²
//
//	ua, ub  standard uncertainties at the two points           [K]
//	λ       0 at the first, 1 at the second point              [1]
//	r       1 where both hang on one reference, 0 where they do
//	        not; between, their correlation                    [1]
//	u_nl    for curvature between the points, 0 where nothing
//	        is known of it                                     [K]
//
// Range:   0 ≤ λ ≤ 1, −1 ≤ r ≤ 1.
// Assumes: the error is straight between the points but for u_nl.
// Source:  JCGM 100:2008, 5.2.2, eq. 13, for e = (1−λ) ea + λ eb; design notes on
// errors, §6.
// Departs: nothing.
// Checked: drift_interval.csv DI0096 to DI0099, both columns.
func Between(ua, ub, lambda, r, unl float64) float64 {
	a, b := (1-lambda)*ua, lambda*ub
	return math.Sqrt(max(0, a*a+b*b+2*r*a*b) + unl*unl)
}

// steps is in how many straight pieces an uncorrelated uncertainty is drawn
// between two points. It is convex over temperature, so that a piece is never
// below it; four keep it within 7 % of the larger end.
const steps = 4

// between are the knots from observation a to b, both left out. Where both hang
// on one reference, or nobody can say, their uncertainties go together: then u is
// a straight line and there is nothing to draw. Points checked against two named
// references are independent.
func between(a, b observation) []knot {
	if a.ref == "" || b.ref == "" || a.ref == b.ref {
		return nil
	}
	var out []knot
	for i := 1; i < steps; i++ {
		part := float64(i) / steps
		e := a.e + part*(b.e-a.e)
		out = append(out, knot{a.x + part*(b.x-a.x), value{lo: e, hi: e, u: Between(a.u, b.u, part, 0, 0)}})
	}
	return out
}
