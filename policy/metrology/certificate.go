package metrology

import (
	"fmt"
	"math"

	"lastgood/policy/unit"
)

// Certificate is the calibration certificate of a reference standard.
type Certificate struct {
	Number string
	Scale  unit.Scale
	Points []CertificatePoint // ascending by At
	Fit    Fit
}

// Fit is how a certificate speaks between its points.
type Fit string

// The fits. The zero value is FitPoints.
const (
	// FitPoints takes the points as they are, with straight lines between them.
	FitPoints Fit = "points"
	// FitStraight draws one straight line of least squares through at least three
	// points, where they scatter about it: Verify refuses those that do not.
	FitStraight Fit = "line"
)

// CertificatePoint is one line of a certificate, in the certificate's unit.
type CertificatePoint struct {
	At                  unit.Micro // indication
	Correction          unit.Micro // added to the indication; a difference
	ExpandedUncertainty unit.Micro // k = 2; a difference
}

const (
	// certificateBeyond is how far [K] beyond its outer points a certificate is
	// still used, with growing uncertainty. A judgement, the same distance as
	// for an instrument's own points.
	certificateBeyond = 10
	// unstatedReference is the expanded uncertainty (k = 2) of a reference that
	// has neither a certificate nor a stated one: the upper end of echelon IV of
	// NIST's classes for thermometer laboratories (thermometer_checks.csv
	// TC058). That a plant's uncertified reference belongs there is a judgement.
	unstatedReference unit.CelsiusDiff = 1
)

// Compared is the true temperature by a reference standard: its reading with
// its certificate's correction added. Without a certificate the reading is taken
// as true, and Basis says so. Where both a certificate and a stated uncertainty
// are known, the larger one counts.
//
//	T = R + b,  b and U linear between the certificate's points;
//	beyond them  b of the outer point,  u = u_outer · √(1 + (d/10 K)²)
//	with a fitted line  b = b(R),  u² = u²(b(R)) + u_c²;  an error if it is no line
//
//	R    what the reference showed [degrees of s]
//	b    correction, reference true − indicated [K]
//	d    distance beyond the outer point [K], at most 10
//	u_c  standard uncertainty that the certificate states, as above [K]
//
// Range:   within 10 K of the certificate's points, else an error.
// Assumes: k = 2 on the certificate. Certified points share a common error, so
// U between them is interpolated, not reduced, and no line averages it out.
// Source:  the interpolation of design notes on errors, §6, the line of JCGM
// 100:2008, H.3 with the common part of H.3.6; the growth is a judgement.
// Checked: by hand in the tests; conformity_decision.csv CD0065 for the common part.
func Compared(s unit.Scale, reading unit.Micro, cert *Certificate, stated *unit.CelsiusDiff) (Reference, error) {
	ref := Reference{True: reading, Scale: s}
	if cert == nil {
		return ref.uncertified(stated), nil
	}
	b, parts, note, err := cert.correction(unit.ToCelsius(reading, s))
	if err != nil {
		return Reference{}, err
	}
	ref.True += nearest(unit.KelvinToDiff(b, s))
	ref.Basis = fmt.Sprintf("reference reading corrected by %+.3f K after certificate %s%s", float64(b), cert.Number, note)
	if u, _ := Combine(parts...); stated != nil && *stated/2 > u {
		parts = []Component{{Name: "reference, as stated", U: *stated / 2}}
	}
	return ref.with(nil, parts...), nil
}

func (r Reference) uncertified(stated *unit.CelsiusDiff) Reference {
	if stated == nil {
		r.Basis = "reference reading taken as true: no certificate and no stated uncertainty, ±1 K (k = 2) assumed"
		return r.with(nil, Component{Name: "reference, assumed", U: unstatedReference / 2})
	}
	r.Basis = fmt.Sprintf("reference reading taken as true: no certificate; uncertainty %.3g K (k = 2) as stated", float64(*stated))
	return r.with(stated)
}

// correction is the certificate's correction at an indication t, what its
// uncertainty is made of, and a note on how it was come by.
func (c *Certificate) correction(t unit.Celsius) (b unit.CelsiusDiff, parts []Component, note string, err error) {
	b, u, note, err := c.pointwise(t)
	if err != nil {
		return 0, nil, "", err
	}
	parts = []Component{{Name: "certificate", U: u}}
	if c.Fit != FitStraight {
		return b, parts, note, nil
	}
	line, err := c.line()
	if err != nil {
		return 0, nil, "", fmt.Errorf("certificate %s: %w", c.Number, err)
	}
	fitted, uFit := line.At(float64(t))
	parts = append(parts, Component{Name: "fitted line", U: unit.CelsiusDiff(uFit), DoF: line.DoF()})
	fit := fmt.Sprintf(", a line through its %d points", line.N)
	if note != "" {
		fit += fmt.Sprintf(", %.1f K beyond them: with a larger uncertainty", float64(c.outside(t)))
	}
	return unit.CelsiusDiff(fitted), parts, fit, nil
}

// outside is how far t lies beyond the outer points; 0 within them.
func (c *Certificate) outside(t unit.Celsius) unit.CelsiusDiff {
	return max(0, c.at(0).Sub(t), t.Sub(c.at(len(c.Points)-1)))
}

// pointwise is the correction and standard uncertainty at t by the points next
// to it, and a note if t lies beyond them.
func (c *Certificate) pointwise(t unit.Celsius) (b, u unit.CelsiusDiff, note string, err error) {
	n := len(c.Points)
	if n == 0 {
		return 0, 0, "", fmt.Errorf("certificate %s has no points", c.Number)
	}
	if d := c.outside(t); d > 0 {
		if t < c.at(0) {
			return c.beyond(0, d)
		}
		return c.beyond(n-1, d)
	}
	i := 1
	for i < n-1 && t > c.at(i) {
		i++
	}
	if n == 1 || c.at(i) == c.at(i-1) {
		b, u = c.point(n - 1)
		return b, u, "", nil
	}
	part := unit.CelsiusDiff(t.Sub(c.at(i-1)) / c.at(i).Sub(c.at(i-1)))
	b0, u0 := c.point(i - 1)
	b1, u1 := c.point(i)
	return b0 + part*(b1-b0), u0 + part*(u1-u0), "", nil
}

// beyond is the correction d beyond the outer point i.
func (c *Certificate) beyond(i int, d unit.CelsiusDiff) (b, u unit.CelsiusDiff, note string, err error) {
	if d > certificateBeyond {
		last := c.Points[len(c.Points)-1]
		return 0, 0, "", fmt.Errorf("certificate %s covers %s to %s %s: the reading lies %.1f K beyond it",
			c.Number, c.Points[0].At, last.At, c.Scale, float64(d))
	}
	b, u = c.point(i)
	u *= unit.CelsiusDiff(math.Sqrt(1 + float64(d/certificateBeyond*d/certificateBeyond)))
	return b, u, fmt.Sprintf(", %.1f K beyond its points: the outer correction, with a larger uncertainty", float64(d)), nil
}

func (c *Certificate) at(i int) unit.Celsius { return unit.ToCelsius(c.Points[i].At, c.Scale) }

// point is the correction and the standard uncertainty of point i [K].
func (c *Certificate) point(i int) (b, u unit.CelsiusDiff) {
	p := c.Points[i]
	return unit.DiffToKelvin(p.Correction.Degrees(), c.Scale),
		unit.DiffToKelvin(p.ExpandedUncertainty.Degrees(), c.Scale) / 2
}
