package growth

import "math"

// mean returns the mean rate over a time in which the temperature goes from a to
// b in a straight line. What lies outside the range of growth adds nothing.
//
//	square_root   (b²/3)(u₀² + u₀u₁ + u₁²), the integral itself
//	others, near  Σ wᵢ f(m + xᵢh), with four points
//	others, far   panels of the same rule with eight points
//
//	u     temperature at both ends, above Tmin       [K]
//	m, h  middle and half of the way between them    [K]
//	f     the rate at a temperature                  [ln or log10 per hour]
//	x, w  points and weights of Gauss and Legendre
//
// Range:    near is 0.3/c for the Ratkowsky forms and 0.12 of the distance to
// the pole of the cardinal one; there both rules are good to 1e-9, so that a
// reading more on the straight line changes nothing.
// Assumes:  temperature linear in time between readings.
// Source:   points and weights from Abramowitz and Stegun, table 25.4, from
// memory, checked by integrating powers to the degree they are exact for.
// Departs:  nothing.
// Checked:  growth_predictions.csv GP-031, GP-032, GP-047; mean_test.go.
func (m *Model) mean(a, b float64) float64 {
	if !(a >= 0 && b >= 0 && a <= m.top && b <= m.top) {
		return m.clipped(a, b)
	}
	if m.shape == endless {
		return m.thirds(a, b)
	}
	mid, half := (a+b)/2, (b-a)/2
	switch {
	case m.shape == ratio:
		if d := m.slope*mid + m.base; math.Abs(m.slope*half) <= -0.5*nearPole*d { // d < 0 from Tmin to Tmax
			return m.nearRatio(mid, half)
		}
	case math.Abs(m.c*half) <= nearFold/2:
		return m.nearRatkowsky(mid, half)
	}
	return m.far(min(a, b), max(a, b))
}

// How far a straight way may go for the rule with four points.
const (
	nearPole = 0.12 // of the distance to the pole of the cardinal model
	nearFold = 0.3  // of 1/c
)

// clipped is mean where part of the way is outside the range of growth.
func (m *Model) clipped(a, b float64) float64 {
	lo, hi := max(min(a, b), 0), min(max(a, b), m.top)
	if lo >= hi {
		return 0
	}
	return (hi - lo) / math.Abs(b-a) * m.mean(lo, hi)
}

// The rule with four points: the positive ones, and the weights, which add up to
// 1 over both signs.
const (
	outer, outerWeight = 0.861136311594052575, 0.347854845137453857 / 2
	inner, innerWeight = 0.339981043584856265, 0.652145154862546143 / 2
)

// thirds is the mean of a square root model from a to b, both at least Tmin.
func (m *Model) thirds(a, b float64) float64 {
	return m.factor * (1. / 3) * (a*a + a*b + b*b)
}

// nearRatio brings the four quotients to one denominator: a division costs more
// than all the rest.
func (m *Model) nearRatio(mid, half float64) float64 {
	p, q := m.quotient(mid, outer*half)
	r, s := m.quotient(mid, inner*half)
	return (outerWeight*p*s + innerWeight*r*q) / (q * s)
}

// quotient is the sum of the rates d below and d above mid, undivided.
func (m *Model) quotient(mid, d float64) (over, under float64) {
	u, v := mid-d, mid+d
	x, y := m.slope*u+m.base, m.slope*v+m.base
	return u*u*(u-m.top)*y + v*v*(v-m.top)*x, x * y
}

// nearRatkowsky takes one exponential, in the middle; from there to the points
// the way is so short that the series of exp does: exp(±x) = C ± S, cut off at
// x⁸/40320 < 2e-12.
func (m *Model) nearRatkowsky(mid, half float64) float64 {
	e := math.Exp(m.c * (mid - m.top))
	c, d := outer*half, inner*half
	p, q := around(m.c*c, e)
	r, s := around(m.c*d, e)
	if m.shape == squared {
		p, q, r, s = p*p, q*q, r*r, s*s
	}
	t, u, v, w := mid-c, mid+c, mid-d, mid+d
	return m.factor * (outerWeight*(t*t*p+u*u*q) + innerWeight*(v*v*r+w*w*s))
}

// around returns 1 − e·exp(−x) and 1 − e·exp(x) for a short x.
func around(x, e float64) (below, above float64) {
	y := x * x
	even := 1 - e*(1+y*(1./2+y*(1./24+y*(1./720))))
	odd := e * x * (1 + y*(1./6+y*(1./120+y*(1./5040))))
	return even + odd, even - odd
}

// far is the mean rate between two temperatures that are far apart.
func (m *Model) far(lo, hi float64) float64 {
	var sum float64
	for from := lo; from < hi; {
		to := min(from+m.panel(from), hi)
		sum += (to - from) * m.gauss(from, to)
		from = to
	}
	return sum / (hi - lo)
}

// panel is how wide a panel may be that begins at u: twice 1/c, or such that its
// end is no nearer to the pole than it is wide.
func (m *Model) panel(u float64) float64 {
	switch {
	case m.shape != ratio:
		return 2 / m.c
	case m.slope > 0: // the pole is above Tmax
		return (m.slope*u + m.base) / (-2 * m.slope)
	case m.slope < 0: // below Tmin
		return (m.slope*u + m.base) / m.slope
	}
	return math.Inf(1) // the rate is a polynomial
}

// The rule with eight points.
var (
	abscissas = [4]float64{0.183434642495649805, 0.525532409916328986, 0.796666477413626740, 0.960289856497536232}
	weights   = [4]float64{0.362683783378361983, 0.313706645877887287, 0.222381034453374471, 0.101228536290376259}
)

// gauss is the mean rate over one panel.
func (m *Model) gauss(lo, hi float64) float64 {
	mid, half := (lo+hi)/2, (hi-lo)/2
	var sum float64
	for i, x := range abscissas {
		sum += weights[i] * (m.inner(mid-half*x) + m.inner(mid+half*x))
	}
	return sum / 2
}
