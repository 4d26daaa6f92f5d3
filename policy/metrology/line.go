package metrology

import (
	"errors"
	"math"
)

// Line is a straight line b(t) = Y1 + Y2 (t − T0) through observed corrections.
type Line struct {
	T0     float64 // reference temperature [°C]
	Y1, Y2 float64 // intercept at T0 [K] and slope [1]
	S1, S2 float64 // their experimental standard deviations
	R      float64 // their correlation coefficient
	S      float64 // experimental standard deviation about the line [K]
	N      int     // observations
}

// DoF is the degrees of freedom of the line's standard deviations, n − 2.
func (l Line) DoF() float64 { return float64(l.N - 2) }

// FitLine is the line of least squares through corrections b [K] at indications
// t [°C].
//
//	y2 = Σ(θ−θ̄)(b−b̄) / S,   y1 = b̄ − y2 θ̄,   S = Σ(θ−θ̄)²
//	s² = Σ(b − b(t))² / (n − 2)
//	s²(y1) = s² Σθ² / (n S),   s²(y2) = s² / S,   r = −Σθ / √(n Σθ²)
//
//	θ  t − t0                                [K]
//	n  number of observations, at least 3    [1]
//
// Range:   n ≥ 3, not all at one temperature, else an error.
// Assumes: all of the scatter is in b, the same everywhere and uncorrelated.
// Source:  JCGM 100:2008, H.3.2, eq. H.13 (S is its D/n, centred so that no
// digits cancel). Read: second-hand, through
// published/metrology/gum_h3_thermometer.csv.
// Departs: nothing.
// Checked: gum_h3_thermometer.csv; conformity_decision.csv, gum_h3 sections.
func FitLine(t, b []float64, t0 float64) (Line, error) {
	n := len(t)
	if n != len(b) || n < 3 {
		return Line{}, errors.New("a fitted line needs at least three points")
	}
	var sumT, sumB, squares float64
	for i := range t {
		theta := t[i] - t0
		sumT, sumB, squares = sumT+theta, sumB+b[i], squares+theta*theta
	}
	meanT, meanB := sumT/float64(n), sumB/float64(n)
	var sxx, sxy float64
	for i := range t {
		d := t[i] - t0 - meanT
		sxx, sxy = sxx+d*d, sxy+d*(b[i]-meanB)
	}
	if !(sxx > 0) {
		return Line{}, errors.New("a fitted line needs points at more than one temperature")
	}
	l := Line{T0: t0, N: n, Y2: sxy / sxx, R: -sumT / math.Sqrt(float64(n)*squares)}
	l.Y1 = meanB - l.Y2*meanT
	var residuals float64
	for i := range t {
		d := b[i] - l.Y1 - l.Y2*(t[i]-t0)
		residuals += d * d
	}
	l.S = math.Sqrt(residuals / l.DoF())
	l.S1 = l.S * math.Sqrt(squares/(float64(n)*sxx))
	l.S2 = l.S / math.Sqrt(sxx)
	return l, nil
}

// At is the predicted correction at t [°C] and its standard uncertainty [K].
//
//	b(t) = y1 + y2 θ
//	u²   = s²(y1) + θ² s²(y2) + 2 θ r s(y1) s(y2),   ν = n − 2
//
//	θ  t − t0 [K]
//
// Range:   the caller's to keep: the uncertainty grows outside the points and
// says nothing of curvature.
// Assumes: as FitLine.
// Source:  JCGM 100:2008, H.3.4, eq. H.14 and H.15. Read: as FitLine.
// Departs: nothing.
// Checked: as FitLine.
func (l Line) At(t float64) (b, u float64) {
	theta := t - l.T0
	v := l.S1*l.S1 + theta*theta*l.S2*l.S2 + 2*theta*l.R*l.S1*l.S2
	return l.Y1 + l.Y2*theta, math.Sqrt(max(0, v))
}
