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

const drift = "drift_interval.csv"

func TestEveryRowOfDriftInterval(t *testing.T) {
	t.Parallel()
	accounted(t, drift, `bracket_verdict temperature_interpolation missed_limit_probability
		reference_found_bad corroboration correlation_trap`, map[string]string{
		"interval_methods":     "check intervals: policy/interval tests them",
		"interval_worked":      "check intervals: policy/interval tests them",
		"uncertainty_growth":   "drift over a history: policy/interval tests it",
		"onset_model":          "the mean of a delayed drift: an onset model, which policy/limit weighs and no verdict uses",
		"reverse_traceability": "words, no figures",
	})
}

// figures are the numbers of a row's recomputed value.
func figures(t *testing.T, r map[string]string) []string {
	t.Helper()
	return strings.Split(r["recomputed_value"], " ; ")
}

// missed is the probability that what reads r was below a minimum of 72.0, given
// one known error with u = 0.25.
func missed(r, e float64) float64 {
	return metrology.ConformProbability(r-e, math.Inf(-1), 72, 0.25, 0)
}

func TestMissedWithOneKnownError(t *testing.T) {
	t.Parallel()
	in := regexp.MustCompile(`reading ([\d.]+), e0=([\d.]+) .* e1=([\d.]+) .* u=0.25, time fraction f=([\d.]+)`)
	for _, r := range section(t, published(t, drift), "missed_limit_probability") {
		m := in.FindStringSubmatch(r["inputs"])
		if m == nil {
			t.Fatalf("%s: cannot read %q", r["id"], r["inputs"])
		}
		read, e0, e1, f := number(t, m[1]), number(t, m[2]), number(t, m[3]), number(t, m[4])
		out := figures(t, r)
		// The third, a delayed drift, is an integral over the onset: policy/limit's.
		for i, got := range map[int]float64{
			0: (1-f)*missed(read, e0) + f*missed(read, e1),
			1: missed(read, e0+f*(e1-e0)),
			3: missed(read, e1),
			4: missed(read, e0),
		} {
			if math.Abs(got-number(t, out[i])) > 6e-11 {
				t.Errorf("%s: model %d gives %.10f, row says %s", r["id"], i, got, out[i])
			}
		}
	}
}

func TestOneErrorIsCommonToAllReadings(t *testing.T) {
	t.Parallel()
	in := regexp.MustCompile(`k=(\d+)`)
	for _, r := range section(t, published(t, drift), "correlation_trap") {
		k, out := number(t, in.FindStringSubmatch(r["inputs"])[1]), figures(t, r)
		p := missed(73.5, 1.6)
		if math.Abs(p-number(t, out[0])) > 6e-11 {
			t.Errorf("%s: %.10f, row says %s whatever k is", r["id"], p, out[0])
		}
		if wrong := 1 - math.Pow(1-p, k); math.Abs(wrong-number(t, out[1])) > 6e-11 || k > 1 && wrong < p+0.1 {
			t.Errorf("%s: independent readings would give %.10f, row says %s", r["id"], wrong, out[1])
		}
	}
}

func TestBothColumnsOfTheInterpolation(t *testing.T) {
	t.Parallel()
	in := regexp.MustCompile(`T=([\d.]+) degC`)
	for _, r := range section(t, published(t, drift), "temperature_interpolation") {
		lambda, out := number(t, in.FindStringSubmatch(r["inputs"])[1])/99.97, figures(t, r)
		for i, correlation := range map[int]float64{1: 0, 2: 1} {
			if got := metrology.Between(0.1, 0.2, lambda, correlation, 0); math.Abs(got-number(t, out[i])) > 6e-9 {
				t.Errorf("%s: r = %g gives u %.8f, row says %s", r["id"], correlation, got, out[i])
			}
		}
	}
	// Curvature of up to 0.3 K between the points adds 0.3/√3 (design notes on errors, §6).
	if got := metrology.Between(0.1, 0.1, 0.5, 1, 0.3/math.Sqrt(3)); math.Abs(got-0.2) > 1e-12 {
		t.Errorf("with curvature: %g", got)
	}
}

func TestPointsCheckedAgainstTwoReferences(t *testing.T) {
	t.Parallel()
	against := func(ref string, p metrology.Point) metrology.Point {
		p.ReferenceID = ref
		return p
	}
	band := func(cold, hot string) *metrology.Doubt {
		f := facts(
			check(0, against(cold, shown(0, 0, 0.1)), against(hot, shown(99.97, 0, 0.2))),
			check(hour, against(cold, shown(0, 0.2, 0.1)), against(hot, shown(99.97, 1.5, 0.2))))
		f.Tolerance = celsius(0.1)
		return doubt(t, f)
	}
	for _, x := range []unit.Celsius{0, 20, 50, 63, 99.97} {
		one, two := known(t, band("R-1", "R-1"), hour, x), known(t, band("R-1", "R-2"), hour, x)
		apart := metrology.Between(0.1, 0.2, float64(x)/99.97, 0, 0)
		if two.U > one.U+1e-12 || float64(two.U) < apart-1e-12 || !near(one.Found, float64(two.Found)) {
			t.Errorf("at %g: u %.6f with one reference, %.6f with two, exactly %.6f", float64(x), one.U, two.U, apart)
		}
		unnamed := known(t, band("", ""), hour, x)
		if unnamed != one {
			t.Errorf("at %g: references that nobody named are taken for one: %+v, %+v", float64(x), unnamed, one)
		}
	}
	if one, two := known(t, band("R-1", "R-1"), hour, 50), known(t, band("R-1", "R-2"), hour, 50); two.U > 0.85*one.U {
		t.Errorf("half way, two references leave %.4f K and one %.4f K", two.U, one.U)
	}
}

func TestReferenceFoundBad(t *testing.T) {
	t.Parallel()
	for _, r := range section(t, published(t, drift), "reference_found_bad") {
		lo, hi, u := metrology.WithReferenceError(0.4, 0.15, 0.5, 0.5, 0.05)
		out := figures(t, r)
		if !near(lo, number(t, out[0])) || lo != hi || math.Abs(float64(u)-number(t, out[1])) > 6e-9 {
			t.Errorf("%s: %g to %g, u %.8f; row says %s", r["id"], lo, hi, u, r["recomputed_value"])
		}
	}
}

func TestTwoInstrumentsTogether(t *testing.T) {
	t.Parallel()
	in := regexp.MustCompile(`x1=([\d.]+) u1=([\d.]+); x2=([\d.]+) u2=([\d.]+)`)
	for _, r := range section(t, published(t, drift), "corroboration") {
		m := in.FindStringSubmatch(r["inputs"])
		one := metrology.Estimate{X: unit.Celsius(number(t, m[1])), U: unit.CelsiusDiff(number(t, m[2]))}
		two := metrology.Estimate{X: unit.Celsius(number(t, m[3])), U: unit.CelsiusDiff(number(t, m[4]))}
		mean, agree := metrology.WeightedMean(one, two, 0)
		out := figures(t, r)
		below := func(e metrology.Estimate) float64 {
			return metrology.ConformProbability(float64(e.X), math.Inf(-1), 72, float64(e.U), 0)
		}
		for i, got := range []float64{float64(mean.X), float64(mean.U), metrology.EN(one.X, 2*one.U, two.X, 2*two.U), below(two), below(mean)} {
			if math.Abs(got-number(t, out[i])) > half(out[i])*1.2 {
				t.Errorf("%s: figure %d is %.10f, row says %s", r["id"], i+1, got, out[i])
			}
		}
		if disagree := strings.Contains(r["note"], "disagree"); agree == disagree {
			t.Errorf("%s: agree %v, the row notes %q", r["id"], agree, r["note"])
		}
	}
	// What both share does not average out.
	if mean, _ := metrology.WeightedMean(metrology.Estimate{X: 72, U: 0.3}, metrology.Estimate{X: 72, U: 0.4}, 0.7); math.Abs(float64(mean.U)-math.Sqrt(0.24*0.24+0.49)) > 1e-12 { // by hand
		t.Errorf("with a shared part: u %g", mean.U)
	}
}

// Adding a constant to the reference and to its error cancels; E_n changes its
// sign with the order, and values nearer together never agree less (design notes
// on errors, §11 and §9).
func TestReferenceAndAgreementProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string) unit.CelsiusDiff {
			return unit.CelsiusDiff(rapid.Float64Range(-3, 3).Draw(t, name))
		}
		e, rho, width, c := draw("e"), draw("rho"), draw("width"), draw("constant")
		width = max(width, -width)
		lo, hi, u := metrology.WithReferenceError(e, 0.1, rho, rho+width, 0.2)
		lo2, hi2, u2 := metrology.WithReferenceError(e-c, 0.1, rho+c, rho+width+c, 0.2) // the reference read c higher
		if !near(lo, float64(lo2)) || !near(hi, float64(hi2)) || u != u2 || lo > hi {
			t.Fatalf("[%g, %g] became [%g, %g]", lo, hi, lo2, hi2)
		}
		x, d := unit.Celsius(70), float64(draw("apart"))
		u1, u2x := unit.CelsiusDiff(rapid.Float64Range(0, 1).Draw(t, "U1")), unit.CelsiusDiff(rapid.Float64Range(0.01, 1).Draw(t, "U2"))
		far, close := x+unit.Celsius(d), x+unit.Celsius(d/2)
		if metrology.EN(x, u1, far, u2x) != -metrology.EN(far, u2x, x, u1) {
			t.Fatal("the order changes more than the sign")
		}
		if math.Abs(metrology.EN(x, u1, close, u2x)) > math.Abs(metrology.EN(x, u1, far, u2x))+1e-12 {
			t.Fatal("nearer together, and less in agreement")
		}
	})
}
