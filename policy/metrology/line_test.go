package metrology_test

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// gumH3 is the eleven points of JCGM 100:2008, table H.6, and the line through
// them about 20 °C.
func gumH3(t *testing.T) (temperatures, corrections []float64, line metrology.Line) {
	t.Helper()
	for _, r := range published(t, "gum_h3_thermometer.csv") {
		temperatures = append(temperatures, number(t, r["t_k_degC"]))
		corrections = append(corrections, number(t, r["b_k_degC"]))
	}
	line, err := metrology.FitLine(temperatures, corrections, 20)
	if err != nil {
		t.Fatal(err)
	}
	return temperatures, corrections, line
}

func TestGUMThermometerPoints(t *testing.T) {
	t.Parallel()
	temperatures, corrections, line := gumH3(t)
	for i, r := range published(t, "gum_h3_thermometer.csv") {
		b, _ := line.At(temperatures[i])
		for column, got := range map[string]float64{
			"published_fit_degC": b, "published_residual_degC": corrections[i] - b,
			"recomputed_fit_degC": b, "recomputed_residual_degC": corrections[i] - b,
			"theta_k_degC": temperatures[i] - line.T0,
		} {
			if math.Abs(got-number(t, r[column])) > half(r[column])*1.001 {
				t.Errorf("k = %s: %s is %.7f, the table has %s", r["k"], column, got, r[column])
			}
		}
	}
}

func TestGUMThermometerTable(t *testing.T) {
	t.Parallel()
	temperatures, corrections, line := gumH3(t)
	for _, r := range section(t, published(t, "conformity_decision.csv"), "gum_h3_data") {
		i := int(number(t, strings.TrimPrefix(r["inputs"], "k="))) - 1
		b, _ := line.At(temperatures[i])
		var got float64
		switch q := r["quantity"]; {
		case strings.HasPrefix(q, "t_k"):
			got = temperatures[i]
		case strings.HasPrefix(q, "b_k (observed"):
			got = corrections[i]
		case strings.HasPrefix(q, "predicted"):
			got = b
		case strings.HasPrefix(q, "b_k minus"):
			got = corrections[i] - b
		default:
			t.Fatalf("%s: no test for %q", r["id"], q)
		}
		if math.Abs(got-number(t, r["published_value"])) > half(r["published_value"])*1.001 {
			t.Errorf("%s: %s is %.7f, table H.6 has %s", r["id"], r["quantity"], got, r["published_value"])
		}
	}
}

func TestGUMThermometerResults(t *testing.T) {
	t.Parallel()
	_, _, line := gumH3(t)
	at30, u30 := line.At(30)
	if math.Abs(u30-0.0041) > 0.00005 { // JCGM 100:2008, H.3.4: −0.1494(41) °C
		t.Errorf("u of the correction at 30 °C is %.6f", u30)
	}
	if math.Abs(line.Y1+0.1712) > 0.00005 || math.Abs(line.S2-0.00067) > 0.000005 { // H.3.3, from memory
		t.Errorf("y1 = %.5f, s(y2) = %.6f", line.Y1, line.S2)
	}
	for _, r := range section(t, published(t, "conformity_decision.csv"), "gum_h3_result") {
		got, ok := map[string]float64{
			"s(y1)": line.S1, "y2 slope": line.Y2, "r(y1,y2)": line.R,
			"s (experimental standard deviation of the fit)": line.S,
			"sum of squared residuals":                       line.S * line.S * line.DoF(),
			"b(30 degC)":                                     at30, "degrees of freedom": line.DoF(),
		}[r["quantity"]]
		if !ok {
			t.Fatalf("%s: no test for %q", r["id"], r["quantity"])
		}
		if math.Abs(got-number(t, r["published_value"])) > half(r["published_value"])*1.001 {
			t.Errorf("%s: %s is %.9g, %s has %s", r["id"], r["quantity"], got, r["clause_or_table"], r["published_value"])
		}
		if want := number(t, r["recomputed_value"]); math.Abs(got-want) > 1e-7*math.Abs(want) {
			t.Errorf("%s: %s is %.9g, recomputed independently %g", r["id"], r["quantity"], got, want)
		}
	}
}

func TestGUMThermometerCurve(t *testing.T) {
	t.Parallel()
	in := regexp.MustCompile(`reading ([\d.]+) degC`)
	_, _, line := gumH3(t)
	for _, r := range section(t, published(t, "conformity_decision.csv"), "gum_h3_computed_curve") {
		b, u := line.At(number(t, in.FindStringSubmatch(r["inputs"])[1]))
		out := strings.Split(r["recomputed_value"], " ; u=")
		if math.Abs(b-number(t, out[0])) > half(out[0])*1.01 || math.Abs(u-number(t, out[1])) > half(out[1])*1.01 {
			t.Errorf("%s: %.7f, u %.7f; row says %s", r["id"], b, u, r["recomputed_value"])
		}
	}
	for _, r := range section(t, published(t, "conformity_decision.csv"), "gum_h3_variant") {
		// A systematic error common to all points, u = 0.005 °C.
		u, _ := metrology.Combine(metrology.Component{U: unit.CelsiusDiff(line.S1)}, metrology.Component{U: 0.005})
		if want := number(t, r["published_value"]); math.Abs(float64(u)-want) > 1e-12 {
			t.Errorf("%s: %.15f, published %s", r["id"], u, r["published_value"])
		}
	}
}

// scattered is a certificate with the points of table H.6, each stated ±0.01 °C.
func scattered(t *testing.T) *metrology.Certificate {
	t.Helper()
	temperatures, corrections, _ := gumH3(t)
	c := &metrology.Certificate{Number: "K-20", Scale: unit.CelsiusScale, Fit: metrology.FitStraight}
	for i := range temperatures {
		c.Points = append(c.Points, metrology.CertificatePoint{
			At: micro(temperatures[i]), Correction: micro(corrections[i]), ExpandedUncertainty: micro(0.01)})
	}
	return c
}

func TestComparedWithAFittedLine(t *testing.T) {
	t.Parallel()
	cert := scattered(t)
	_, _, line := gumH3(t)
	for _, c := range []struct {
		reading, grown float64
		says           string
	}{
		{24.0085, 1, "a line through its 11 points"}, // conformity_decision.csv CD0059
		{26, 1, "a line through its 11 points"},
		{30, math.Hypot(1, (30-26.511)/10), "3.5 K beyond them"}, // H.3.4: −0.1494(41)
	} {
		ref, err := metrology.Compared(unit.CelsiusScale, micro(c.reading), cert, nil)
		if err != nil {
			t.Fatal(err)
		}
		b, u := line.At(c.reading)
		want := math.Hypot(u, 0.005*c.grown)
		if math.Abs(ref.True.Degrees()-c.reading-b) > 1e-6 || math.Abs(float64(ref.U)-want) > 1e-9 || !strings.Contains(ref.Basis, c.says) {
			t.Errorf("reads %g: %s, u %g, want %g: %s", c.reading, ref.True, ref.U, want, ref.Basis)
		}
		// What the certificate states is common to the points: the line does not
		// average it out, and it has no degrees of freedom to lose.
		if math.Abs(ref.DoF-9*math.Pow(want/u, 4)) > 1e-6 { // Welch–Satterthwaite with ν = 9
			t.Errorf("reads %g: ν = %g", c.reading, ref.DoF)
		}
	}
	if _, err := metrology.Compared(unit.CelsiusScale, micro(36.6), cert, nil); err == nil {
		t.Error("more than 10 K beyond the points")
	}
	stated, err := metrology.Compared(unit.CelsiusScale, micro(24), cert, ptr(unit.CelsiusDiff(0.5)))
	if err != nil || stated.U != 0.25 || stated.DoF != 0 {
		t.Errorf("the larger, stated uncertainty: %+v, %v", stated, err)
	}
}

func TestLineRefused(t *testing.T) {
	t.Parallel()
	two := scattered(t)
	two.Points = two.Points[:2]
	if _, err := metrology.Compared(unit.CelsiusScale, two.Points[0].At, two, nil); err == nil || !strings.Contains(err.Error(), "three points") {
		t.Errorf("a line through two points: %v", err)
	}
	if _, err := metrology.FitLine([]float64{20, 20, 20}, []float64{0, 1, 2}, 0); err == nil {
		t.Error("a line through one temperature")
	}
	if _, err := metrology.FitLine([]float64{20, 21, 22}, []float64{0, 1}, 0); err == nil {
		t.Error("a line through points without a correction")
	}
}

// The line does not depend on the temperature that it is written about, and
// points that lie on a line give that line without uncertainty.
func TestLineProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "n")
		slope, offset := rapid.Float64Range(-0.1, 0.1).Draw(t, "slope"), rapid.Float64Range(-2, 2).Draw(t, "offset")
		var ts, exact, noisy []float64
		for i := range n {
			x := float64(10*i) + rapid.Float64Range(0, 5).Draw(t, "t")
			ts, exact = append(ts, x), append(exact, offset+slope*x)
			noisy = append(noisy, offset+slope*x+rapid.Float64Range(-0.2, 0.2).Draw(t, "scatter"))
		}
		line, err := metrology.FitLine(ts, exact, 0)
		if err != nil {
			t.Fatal(err)
		}
		x := rapid.Float64Range(0, 120).Draw(t, "x")
		if b, u := line.At(x); math.Abs(b-offset-slope*x) > 1e-9 || u > 1e-9 {
			t.Fatalf("at %g: %g ± %g, exactly %g", x, b, u, offset+slope*x)
		}
		one, err := metrology.FitLine(ts, noisy, 0)
		if err != nil {
			t.Fatal(err)
		}
		two, err := metrology.FitLine(ts, noisy, rapid.Float64Range(-50, 200).Draw(t, "t0"))
		if err != nil {
			t.Fatal(err)
		}
		b1, u1 := one.At(x)
		b2, u2 := two.At(x)
		if math.Abs(b1-b2) > 1e-9 || math.Abs(u1-u2) > 1e-7 {
			t.Fatalf("%g ± %g about 0, %g ± %g about %g", b1, u1, b2, u2, two.T0)
		}
	})
}

// curved is a certificate of 21 points on a parabola, stated to 0.156 K: its
// best line is up to a third of a kelvin off the certified points.
func curved() *metrology.Certificate {
	c := &metrology.Certificate{Number: "K-21", Scale: unit.CelsiusScale, Fit: metrology.FitStraight}
	for i := range 21 {
		t := float64(5 * i)
		c.Points = append(c.Points, metrology.CertificatePoint{
			At: micro(t), Correction: micro(0.5 * (t - 50) * (t - 50) / 2500), ExpandedUncertainty: micro(0.156)})
	}
	return c
}

func TestPointsThatLieOnNoLine(t *testing.T) {
	t.Parallel()
	c := curved()
	err := c.Verify()
	if err == nil || !strings.Contains(err.Error(), "the one at 0 C") || !strings.Contains(err.Error(), "0.317 K") {
		t.Errorf("0.317 K off the outer points, which are stated to 0.156 K: %v", err)
	}
	if _, err := metrology.Compared(unit.CelsiusScale, micro(50), c, nil); err == nil {
		t.Error("it corrects by a line that its points do not lie on")
	}
	for i := range c.Points {
		c.Points[i].ExpandedUncertainty = micro(0.32)
	}
	if err := c.Verify(); err != nil {
		t.Errorf("within what the points are stated to: %v", err)
	}
	if err := scattered(t).Verify(); err != nil {
		t.Errorf("the thermometer of JCGM 100:2008, H.3: %v", err)
	}
	c = curved()
	c.Fit = metrology.FitPoints
	if err := c.Verify(); err != nil {
		t.Errorf("point by point: %v", err)
	}
	c.Fit, c.Points = metrology.FitStraight, c.Points[:2]
	if err := c.Verify(); err == nil {
		t.Error("a line through two points")
	}
}

// A fitted line is never further off a certified point than its own uncertainty
// and the point's together say, or it is refused.
func TestNoLineIsOffItsPoints(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		c := &metrology.Certificate{Number: "K-1", Scale: unit.CelsiusScale, Fit: metrology.FitStraight}
		for i := range rapid.IntRange(3, 9).Draw(t, "n") {
			c.Points = append(c.Points, metrology.CertificatePoint{At: micro(float64(10 * i)),
				Correction: micro(rapid.Float64Range(-0.3, 0.3).Draw(t, "b")), ExpandedUncertainty: micro(rapid.Float64Range(0.1, 0.5).Draw(t, "U"))})
		}
		for _, p := range c.Points {
			ref, err := metrology.Compared(c.Scale, p.At, c, nil)
			if (err == nil) != (c.Verify() == nil) {
				t.Fatalf("%v and %v", err, c.Verify())
			}
			if off := math.Abs((ref.True - p.At - p.Correction).Degrees()); err == nil && off > 2*float64(ref.U)+3e-6 {
				t.Fatalf("%g K off the point at %s, U = %g", off, p.At, 2*float64(ref.U))
			}
		}
	})
}
