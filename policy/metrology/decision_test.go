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

// byProbability is the rule by probability with its usual confidence of 95 %.
var byProbability = metrology.Rule{Kind: metrology.Probability, Coverage: 2}

func TestProbabilitiesOfPublishedGrid(t *testing.T) {
	t.Parallel()
	in := regexp.MustCompile(`e=([\d.]+) degC, u=([\d.]+) degC, tolerance \+/-([\d.]+) degC`)
	for _, r := range section(t, published(t, conformity), "thermometer_verdict_computed") {
		m := in.FindStringSubmatch(r["inputs"])
		e, u, tolerance := number(t, m[1]), number(t, m[2]), number(t, m[3])
		want := number(t, strings.Split(r["recomputed_value"], "; ")[0])
		if got := metrology.ConformProbability(e, -tolerance, tolerance, u, 0); math.Abs(got-want) > 6e-9 {
			t.Errorf("%s: P = %.9f, row says %.8f", r["id"], got, want)
		}
		for _, sign := range []float64{1, -1} {
			j := metrology.JudgePoint(at(72, sign*e, u), celsius(tolerance), byProbability)
			verdict, risk := metrology.Inconclusive, 0.0
			switch {
			case want >= 0.95:
				verdict, risk = metrology.Pass, 1-want
			case want <= 0.05:
				verdict, risk = metrology.Fail, want
			}
			if j.Found != verdict || math.Abs(j.Risk-risk) > 6e-9 || j.LeftRisk != j.Risk {
				t.Errorf("%s: %s with risk %.9f, want %s with %.9f", r["id"], j.Found, j.Risk, verdict, risk)
			}
			// Simple acceptance may be wrong half of the time at the limit (design notes
			// on errors, §10); its risk is told all the same.
			simple := metrology.JudgePoint(at(72, sign*e, u), celsius(tolerance), metrology.DefaultRule())
			if wrong := map[metrology.Verdict]float64{metrology.Pass: 1 - want, metrology.Fail: want}[simple.Found]; math.Abs(simple.Risk-wrong) > 6e-9 {
				t.Errorf("%s: simple %s with risk %.9f, want %.9f", r["id"], simple.Found, simple.Risk, wrong)
			}
		}
	}
}

func TestConfidence(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		confidence, e, u float64
		want             metrology.Verdict
	}{
		{0, 0.9, 0.05, metrology.Pass},             // P 0.977, conformity_decision.csv CD0159
		{0.98, 0.9, 0.05, metrology.Inconclusive},  // the same
		{0.98, 1.1, 0.05, metrology.Inconclusive},  // P 0.023, CD0161
		{0.975, 1.1, 0.05, metrology.Fail},         // the same
		{0.5, 0.9, 0.05, metrology.Pass},           // no confidence: 0.95
		{1, 0.9, 0.05, metrology.Pass},             // the same
		{math.NaN(), 0.9, 0.05, metrology.Pass},    // the same
		{0, 1, 0, metrology.Pass},                  // no uncertainty: exact, the limit included
		{0, 1.000001, 0, metrology.Fail},           // and a millionth beyond
		{0, 0, math.NaN(), metrology.Inconclusive}, // nobody knows
	} {
		rule := byProbability
		rule.Confidence = c.confidence
		if got := metrology.JudgePoint(at(70, c.e, c.u), celsius(1), rule).Found; got != c.want {
			t.Errorf("confidence %g, error %g ± %g: %s, want %s", c.confidence, c.e, c.u, got, c.want)
		}
	}
}

func TestMethodTooPoor(t *testing.T) {
	t.Parallel()
	guarded := metrology.Rule{Kind: metrology.Guarded, Ratio: 1, Coverage: 2}
	for _, c := range []struct {
		name string
		rule metrology.Rule
		e, u float64
		poor bool
		want metrology.Verdict
		says string
	}{
		// Design notes on errors, §10: an ice or boiling check of a ±0.2 K instrument.
		{"guarded", guarded, 0, 0.11, true, metrology.Inconclusive, "not good enough: its guard band of 0.22 K"},
		{"guarded, just good enough", guarded, 0, 0.1, false, metrology.Pass, ""},
		{"guarded, and clearly bad", guarded, 1, 0.11, true, metrology.Fail, "the error is 1 C"},
		// P(|E| ≤ 0.2) with u 0.1 is erf(2/√2) = 0.9545; with 0.11 it is 0.931.
		{"probability", byProbability, 0, 0.11, true, metrology.Inconclusive, "not good enough: with a standard uncertainty of 0.11 K"},
		{"probability, just good enough", byProbability, 0, 0.1, false, metrology.Pass, ""},
		{"probability, and clearly bad", byProbability, 1, 0.11, true, metrology.Fail, "the error is 1 C"},
		{"simple is told and passes", metrology.DefaultRule(), 0, 0.11, true, metrology.Pass, ""},
		{"simple is told and fails", metrology.DefaultRule(), 0.3, 0.11, true, metrology.Fail, "the error is 0.3 C"},
		{"simple, good enough", metrology.DefaultRule(), 0, 0.1, false, metrology.Pass, ""},
	} {
		j := check(0, at(0, c.e, c.u)).Judge(celsius(0.2), c.rule)
		if j.MethodTooPoor != c.poor || j.Points[0].MethodTooPoor != c.poor || j.Found != c.want ||
			(c.says == "") != (j.Reason == "") || !strings.Contains(j.Reason, c.says) {
			t.Errorf("%s: too poor %v, %s, %q", c.name, j.MethodTooPoor, j.Found, j.Reason)
		}
	}
}

func TestFewRepeatsWidenEverything(t *testing.T) {
	t.Parallel()
	// Three repeats with a spread of 0.1 K and nothing else: u = 0.1/√3, ν = 2 and
	// t = 4.53 for 95.45 % (JCGM 100:2008, table G.2), not 2.
	three, err := at(70, 0.9, 0).Repeated(3, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	u := 0.1 / math.Sqrt(3)
	if math.Abs(float64(three.U)-u) > 1e-12 || three.DoF != 2 || three.Repeats != 3 || three.Spread != 0.1 {
		t.Fatalf("%+v", three)
	}
	guarded := metrology.Rule{Kind: metrology.Guarded, Ratio: 1, Coverage: 2}
	if j := metrology.JudgePoint(three, celsius(1), guarded); math.Abs(float64(j.Guard)-4.5266*u) > 1e-4 {
		t.Errorf("guard band %g, want t·u = %g", j.Guard, 4.5266*u)
	}
	few, many := metrology.JudgePoint(three, celsius(1), byProbability), metrology.JudgePoint(at(70, 0.9, u), celsius(1), byProbability)
	if few.Found != metrology.Inconclusive || many.Found != metrology.Pass { // 1.732 u to the limit: t₂ 0.887, Φ 0.958
		if many.Found != metrology.Pass {
			t.Errorf("known well: %s with risk %g", many.Found, many.Risk)
		}
		t.Errorf("three repeats: %s", few.Found)
	}
	again, err := at(70, 2, 0).Repeated(3, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	b := known(t, doubt(t, facts(check(0, at(70, 0, 0)), check(hour, again))), hour, 72)
	if math.Abs(float64(b.Hi)-2-4.5266*u) > 1e-4 || b.DoF != 2 || !near(b.U, u) {
		t.Errorf("the bracket: %+v, want t·u = %g", b, 4.5266*u)
	}
}

func TestRepeatsThatSayNothing(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		n int
		s float64
	}{{1, 0.1}, {0, 0}, {3, -0.1}, {3, math.NaN()}, {3, math.Inf(1)}} {
		if p, err := at(70, 0, 0.1).Repeated(c.n, unit.CelsiusDiff(c.s)); err == nil || p.U != 0.1 {
			t.Errorf("%d repeats with a spread of %g: %v, u %g", c.n, c.s, err, p.U)
		}
	}
	once, err := at(70, 0, 0.1).Repeated(3, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := once.Repeated(3, 0.1); err == nil {
		t.Error("the same repeats counted twice")
	}
	same, err := at(70, 0, 0.1).Repeated(5, 0)
	if err != nil || same.U != 0.1 || same.DoF != 0 {
		t.Errorf("repeats that all agree add nothing: %+v, %v", same, err)
	}
}

func TestPassedWithALooserTolerance(t *testing.T) {
	t.Parallel()
	// Done with ±2 °C where the plan says ±1 °C: judged again, the check at 5 h is
	// no last good check.
	c := check(5*hour, shown(60, 1.5, 0), shown(80, 1.5, 0))
	if loose := c.Judge(celsius(2), metrology.DefaultRule()); loose.Found != metrology.Pass {
		t.Errorf("as it was done: %s", loose.Found)
	}
	if plan := c.Judge(celsius(1), metrology.DefaultRule()); plan.Found != metrology.Fail {
		t.Errorf("by the plan: %s", plan.Found)
	}
	two := func(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0), shown(80, e, 0)} }
	f := facts(check(0, two(0)...), c, check(10*hour, two(3)...))
	if after, _, good := doubt(t, f).Window(); after != 0 || good != 0 {
		t.Errorf("in doubt since %d h", after/hour)
	}
	f.Tolerance = celsius(2)
	if after, _, good := doubt(t, f).Window(); after != 5*hour || good != 1 {
		t.Errorf("with the looser tolerance in doubt since %d h", after/hour)
	}
}

func TestADifferenceIsNoTemperature(t *testing.T) {
	t.Parallel()
	// An error of 2 °C is one of 3.6 °F and not of 35.6 °F.
	inC, inF := at(70, 2, 0), metrology.NewPoint("comparison", metrology.Reference{True: micro(158), Scale: unit.FahrenheitScale}, ptr(micro(161.6)), nil, nil)
	for _, p := range []metrology.Point{inC, inF} {
		if metrology.JudgePoint(p, fahrenheit(3.6), byProbability).Found != metrology.Pass || metrology.JudgePoint(p, fahrenheit(3.599999), byProbability).Found != metrology.Fail {
			t.Errorf("%s: an error of 2 °C against 3.6 °F", p.Reference.Scale)
		}
	}
}

// The probability of conformity is larger the nearer to the middle and, within
// the tolerance, the better known; few repeats never make a risk smaller where
// the verdict stands; a global risk is a share.
func TestProbabilityProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		e, u := rapid.Float64Range(-3, 3).Draw(t, "e"), rapid.Float64Range(0.001, 1).Draw(t, "u")
		dof := float64(rapid.IntRange(0, 30).Draw(t, "dof"))
		p := metrology.ConformProbability(e, -1, 1, u, dof)
		if math.Abs(p-metrology.ConformProbability(-e, -1, 1, u, dof)) > 1e-12 {
			t.Fatal("the sign of the error changed the probability")
		}
		if q := metrology.ConformProbability(e/2, -1, 1, u, dof); !(p >= 0 && p <= 1) || q < p-1e-12 {
			t.Fatalf("P(%g) = %g, P(%g) = %g", e, p, e/2, q)
		}
		if wider := metrology.ConformProbability(e, -1, 1, u*1.5, dof); math.Abs(e) < 0.9 && wider > p+1e-12 {
			t.Fatalf("u %g gives %g, more gives %g", u, p, wider)
		}
		if k, more := metrology.CoverageFactor(0.9545, dof), metrology.CoverageFactor(0.9545, dof+1); dof > 0 && (more > k || more < 2) {
			t.Fatalf("t is %g for ν %g and %g for one more", k, dof, more)
		}
		guard := rapid.Float64Range(0, 0.9).Draw(t, "guard")
		prior := metrology.Prior{Mean: rapid.Float64Range(-1, 1).Draw(t, "mean"), SD: rapid.Float64Range(0.05, 2).Draw(t, "sd")}
		risks, err := metrology.GlobalRisk(prior, u, 1, guard)
		if err != nil {
			t.Fatal(err)
		}
		none, err := metrology.GlobalRisk(prior, u, 1, 0)
		if err != nil {
			t.Fatal(err)
		}
		// What is accepted less what is wrongly so, and what is wrongly not, is what is
		// in tolerance: both have closed forms.
		within := metrology.ConformProbability(prior.Mean, -1, 1, prior.SD, 0)
		accepted := metrology.ConformProbability(prior.Mean, guard-1, 1-guard, math.Hypot(prior.SD, u), 0)
		if math.Abs(risks.FalseAccept-risks.FalseReject-(accepted-within)) > 1e-9 {
			t.Fatalf("%+v: accepted %.12f, in tolerance %.12f", risks, accepted, within)
		}
		if risks.FalseAccept < 0 || risks.FalseReject < 0 || risks.FalseAccept+risks.FalseReject > 1 ||
			risks.FalseAccept > none.FalseAccept+1e-9 || risks.FalseReject < none.FalseReject-1e-9 {
			t.Fatalf("a guard band of %g turned %+v into %+v", guard, none, risks)
		}
	})
}

func TestConformProbabilityAtItsEnds(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ y, lo, hi, u, dof, want float64 }{
		{1, -1, 1, 0, 0, 1},
		{1.0000001, -1, 1, 0, 0, 0},
		{-1, -1, 1, 0, 3, 1},
		{0, math.Inf(-1), math.Inf(1), 1, 0, 1},
		{0, math.Inf(-1), math.Inf(1), 1, 2, 1},
		{0, 8, 9, 1, 0, 6.2198e-16},   // Q(8) − Q(9); the normal tail, from memory
		{0, -9, -8, 1, 0, 6.2198e-16}, // the same below
	} {
		if got := metrology.ConformProbability(c.y, c.lo, c.hi, c.u, c.dof); math.Abs(got-c.want) > 1e-4*c.want {
			t.Errorf("%+v: %g", c, got)
		}
	}
	if p := metrology.ConformProbability(0, -1, 1, math.NaN(), 0); !math.IsNaN(p) {
		t.Errorf("with an uncertainty that is not a number: %g", p)
	}
	for _, share := range []float64{0, 1, -1, math.NaN()} {
		if s := metrology.PriorSpread(1, share); !math.IsNaN(s) {
			t.Errorf("a share of %g has the spread %g", share, s)
		}
	}
}

func TestAMethodThatKnowsNothingFailsNothing(t *testing.T) {
	t.Parallel()
	// u is sixteen times the tolerance: P is below 5 % for any error.
	if p := metrology.ConformProbability(0, -0.2, 0.2, 3.3, 0); p > 0.05 {
		t.Fatalf("P = %g", p)
	}
	if j := metrology.JudgePoint(at(0, 0, 3.3), celsius(0.2), byProbability); j.Found != metrology.Inconclusive || !j.MethodTooPoor {
		t.Errorf("an error of nothing that is hardly known: %s", j.Found)
	}
}

func TestGlobalRiskRefuses(t *testing.T) {
	t.Parallel()
	for _, c := range [][5]float64{ // mean, sd, u, tolerance, guard
		{0, 0, 0.1, 1, 0}, {0, 1, 0, 1, 0}, {0, 1, 0.1, 0, 0}, {0, 1, 0.1, 1, 1}, {math.NaN(), 1, 0.1, 1, 0}, {0, math.Inf(1), 0.1, 1, 0}, {math.Inf(-1), 1, 0.1, 1, 0},
	} {
		if risks, err := metrology.GlobalRisk(metrology.Prior{Mean: c[0], SD: c[1]}, c[2], c[3], c[4]); err == nil {
			t.Errorf("%v gave %+v", c, risks)
		}
	}
}
