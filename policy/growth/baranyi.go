package growth

import "math"

// WithLag returns what is left of a predicted increase if the cells first have to
// adapt: the Baranyi model without its plateau. The verdicts do not use it: no
// lag is counted.
//
//	y = log10((1 + q₀ exp(M)) / (1 + q₀)),  M = ∫μ dt = x ln 10        [log10]
//
//	x   increase without a lag                                 [log10]
//	q₀  how well the cells are adapted at the start            [1, > 0]
//
// Range:    q₀ > 0; the lag at a constant rate is ln(1 + 1/q₀)/μ.
// Assumes:  adaptation goes at the rate of growth; no maximum density.
// Source:   Baranyi and Roberts, Int J Food Microbiol 23:277–294 (1994), cited
// from memory; the formula by way of growth_predictions.csv GP-042 to GP-045.
// Read: second-hand.
// Departs:  nothing.
// Checked:  growth_predictions.csv GP-031, GP-032, GP-042, GP-044, GP-045.
func WithLag(x Logs, q0 float64) Logs {
	// With exp(M) taken out nothing overflows, whatever the increase.
	m := float64(x) * math.Ln10
	return x + Logs((math.Log(q0+math.Exp(-m))-math.Log1p(q0))/math.Ln10)
}
