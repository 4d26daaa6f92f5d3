package growth

import "math"

// rate returns the growth rate at u, in the model's own unit.
//
//	square_root         √μ = b(T − Tmin)
//	ratkowsky           √μ = b(T − Tmin)(1 − exp(c(T − Tmax)))
//	modified_ratkowsky   μ = b²(T − Tmin)²(1 − exp(c(T − Tmax)))
//	cardinal             μ = μopt (T − Tmax)(T − Tmin)² / ((Topt − Tmin) D)
//	                     D = (Topt − Tmin)(T − Topt) − (Topt − Tmax)(Topt + Tmin − 2T)
//
//	μ     growth rate                                     [ln or log10 per hour]
//	T     temperature of the product                      [K-sized degrees]
//	Tmin  no growth at it or below; Tmax: at it or above  [K-sized degrees]
//	Topt  temperature of the highest rate μopt            [K-sized degrees]
//	b, c  fitted                                          [√μ per K; per K]
//
// Range:    0 at and below Tmin, and at and above Tmax where there is one; the
// cardinal model needs 2 Topt > Tmin + Tmax, or Topt is no maximum.
// Assumes:  nothing but temperature limits growth: the organism, the food, its
// pH, water activity and preservatives are those the model was fitted for.
// Source:   square root and its extension, Ratkowsky et al., J Bacteriol
// 149:1–5 (1982) and 154:1222–1226 (1983), from memory; cardinal, Rosso, Lobry
// and Flandrois, J Theor Biol 162:447–463 (1993). Read: second-hand, from
// growth_models.csv, column equation.
// Departs:  square_root knows no end: above the organism's optimum it predicts
// more growth than comes.
// Checked:  growth_models.csv, columns rate_at_T_check_recomputed and
// mu_ln_per_h_at_T_check.
func (m *Model) rate(u float64) float64 {
	if u > 0 && u < m.top {
		return m.inner(u)
	}
	return 0
}

// inner is rate for u from Tmin to Tmax.
func (m *Model) inner(u float64) float64 {
	if m.shape == ratio {
		// D is a line in u: slope·u + base
		return u * u * (u - m.top) / (m.slope*u + m.base)
	}
	f := m.factor * u * u
	if m.shape == endless {
		return f
	}
	g := 1 - math.Exp(m.c*(u-m.top))
	if m.shape == squared {
		g *= g
	}
	return f * g
}

// fastest returns where a Ratkowsky model has its highest rate: the root of
//
//	exp(c(Tmax − T)) = 1 + c(T − Tmin)/k        k = 1; modified: k = 2
//
// which is the rate's derivative set to 0. The left side falls and the right
// side rises, so there is one root, found by halving.
func (m *Model) fastest() float64 {
	k := 1.0
	if m.shape == single {
		k = 2
	}
	lo, hi := 0.0, m.top
	for range 60 {
		mid := lo + (hi-lo)/2
		if m.c*(m.top-mid) > math.Log1p(m.c*mid/k) {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}
