package metrology

import (
	"fmt"
	"math"

	"lastgood/policy/unit"
)

// rounding [K] is what the corrections and uncertainties of a certificate lose
// where they are rounded to a millionth on another scale.
const rounding = 2e-6

// Verify refuses a certificate that is to be read as a line and whose points do
// not lie on one, with the point that lies furthest off.
func (c *Certificate) Verify() error {
	if c.Fit != FitStraight {
		return nil
	}
	_, err := c.line()
	return err
}

// line is the straight line through the certificate's points.
//
//	|b_i − b(t_i)| ≤ U_i  at every point, else an error
//
//	b_i  certified correction at t_i                [K]
//	b(t) the line of FitLine                        [K]
//	U_i  expanded uncertainty stated there, k = 2   [K]
//
// Range:   as FitLine.
// Assumes: points that scatter about a line do so by less than the laboratory
// itself vouches for. Curvature, which the scatter about the line would show as
// if it were chance and the line average out, does not stay within that.
// Source:  a judgement; JCGM 100:2008, H.3 takes the line as given.
// Departs: nothing.
// Checked: the points of H.3 pass; a parabola by hand in the tests does not.
func (c *Certificate) line() (Line, error) {
	var t, b []float64
	for i := range c.Points {
		p, _ := c.point(i)
		t, b = append(t, float64(c.at(i))), append(b, float64(p))
	}
	l, err := FitLine(t, b, 0)
	if err != nil {
		return l, err
	}
	worst, off, over := 0, 0.0, 0.0
	for i := range t {
		fitted, _ := l.At(t[i])
		_, u := c.point(i)
		d := math.Abs(b[i] - fitted)
		if beyond := d - 2*float64(u) - rounding; beyond > over {
			worst, off, over = i, d, beyond
		}
	}
	if over > 0 {
		p := c.Points[worst]
		return l, fmt.Errorf("the points do not lie on a line: the one at %s lies %.3f K off it and is stated to %.3f K; take the certificate point by point",
			unit.Temperature{Value: p.At, Scale: c.Scale}, off, float64(unit.DiffToKelvin(p.ExpandedUncertainty.Degrees(), c.Scale)))
	}
	return l, nil
}
