package metrology_test

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

const deg = unit.PerDegree

// micro is a number of degrees that is exact in millionths.
func micro(v float64) unit.Micro { return unit.Micro(math.Round(v * deg)) }

func ptr[T any](v T) *T { return &v }

func celsius(v float64) unit.Diff { return unit.Diff{Value: micro(v), Scale: unit.CelsiusScale} }

func fahrenheit(v float64) unit.Diff { return unit.Diff{Value: micro(v), Scale: unit.FahrenheitScale} }

// at is a point with a true temperature, an error as found and a standard
// uncertainty, all in °C and K.
func at(truth, e, u float64) metrology.Point {
	return metrology.Point{
		Kind:      "comparison",
		Reference: metrology.Reference{True: micro(truth), Scale: unit.CelsiusScale, U: unit.CelsiusDiff(u)},
		Found:     ptr(micro(truth + e)), U: unit.CelsiusDiff(u),
	}
}

// left is p adjusted until its error was e.
func left(p metrology.Point, e float64) metrology.Point {
	p.Left = ptr(p.Reference.True + micro(e))
	return p
}

func TestVerdictsOfPublishedGrid(t *testing.T) {
	t.Parallel()
	in := regexp.MustCompile(`e=([\d.]+) degC, u=([\d.]+) degC, tolerance \+/-([\d.]+) degC`)
	word := map[string]metrology.Verdict{"pass": metrology.Pass, "fail": metrology.Fail, "indeterminate": metrology.Inconclusive}
	for _, r := range section(t, published(t, "conformity_decision.csv"), "thermometer_verdict_computed") {
		m := in.FindStringSubmatch(r["inputs"])
		if m == nil {
			t.Fatalf("%s: cannot read %q", r["id"], r["inputs"])
		}
		out := strings.Split(r["recomputed_value"], "; ")
		rules := []metrology.Rule{
			{Kind: metrology.Simple, Coverage: 2},
			{Kind: metrology.Guarded, Ratio: 1.6449 / 2, Coverage: 2}, // w = 1.6449 u
			{Kind: metrology.Guarded, Ratio: 1, Coverage: 2},          // w = 2 u
		}
		for _, sign := range []float64{1, -1} {
			p := at(72, sign*number(t, m[1]), number(t, m[2]))
			for i, rule := range rules {
				got := metrology.JudgePoint(p, celsius(number(t, m[3])), rule)
				if got.Found != word[out[i+1]] || got.Left != got.Found {
					t.Errorf("%s %s rule %d sign %g: %s (left %s), row says %s", r["id"], r["inputs"], i, sign, got.Found, got.Left, out[i+1])
				}
			}
		}
	}
}

func TestResolutionPart(t *testing.T) {
	t.Parallel()
	for _, r := range section(t, published(t, "conformity_decision.csv"), "gum_type_b") {
		step := map[string]float64{"CD0070": 8, "CD0072": 1}[r["id"]] // 96..104 °C is 8 wide; one display step
		p := metrology.NewPoint("ice", metrology.Reference{Scale: unit.CelsiusScale}, ptr(micro(0)), nil, ptr(celsius(step)))
		if math.Abs(float64(p.U)-number(t, r["published_value"])) > half(r["published_value"]) {
			t.Errorf("%s: a flat width of %g is u = %g, the GUM prints %s", r["id"], step, p.U, r["published_value"])
		}
	}
	p := metrology.NewPoint("ice", metrology.Reference{Scale: unit.FahrenheitScale}, ptr(micro(32)), nil, ptr(fahrenheit(1)))
	if math.Abs(float64(p.U)-0.160) > 0.0005 { // conformity_decision.csv CD0072, note: 1 degF display -> 0.160 degC
		t.Errorf("a display step of 1 °F is u = %g K", p.U)
	}
}

func TestExactBetweenScales(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name      string
		truth     string
		found     string
		scale     unit.Scale
		tolerance unit.Diff
		want      metrology.Verdict
	}{
		// 4-203.11 of the Food Code (thermometer_checks.csv TC001): ±1 °C.
		{"1.8 °F is 1 °C", "32", "33.8", unit.FahrenheitScale, celsius(1), metrology.Pass},
		{"a millionth more is not", "32", "33.800001", unit.FahrenheitScale, celsius(1), metrology.Fail},
		{"2 °F is more than 1 °C", "160", "162", unit.FahrenheitScale, celsius(1), metrology.Fail},
		{"2 °C error is 3.6 °F", "70", "72", unit.CelsiusScale, fahrenheit(3.6), metrology.Pass}, // the design notes on the procedure X20
		{"and not 35.6 °F", "70", "72.000001", unit.CelsiusScale, fahrenheit(3.6), metrology.Fail},
		{"kelvin", "273.15", "274.15", unit.KelvinScale, fahrenheit(1.8), metrology.Pass},
		{"within one degree is left alone", "0", "0.9", unit.CelsiusScale, celsius(1), metrology.Pass},          // common practice
		{"71.0 in a 71.1 bath passes", "71.1", "71.0", unit.CelsiusScale, celsius(0.5), metrology.Pass},         // common practice
		{"reads low by exactly the tolerance", "32", "30", unit.FahrenheitScale, fahrenheit(2), metrology.Pass}, // TC043: 30..34 °F
	} {
		truth, err := unit.ParseMicro(c.truth)
		if err != nil {
			t.Fatal(err)
		}
		found, err := unit.ParseMicro(c.found)
		if err != nil {
			t.Fatal(err)
		}
		p := metrology.NewPoint("comparison", metrology.Reference{True: truth, Scale: c.scale}, &found, nil, nil)
		if got := metrology.JudgePoint(p, c.tolerance, metrology.DefaultRule()).Found; got != c.want {
			t.Errorf("%s: %s", c.name, got)
		}
	}
}

func TestErrorIsIndicatedLessTrue(t *testing.T) {
	t.Parallel()
	// Common practice: a thermometer that shows +1.4 in ice reads that much high.
	// thermometer_checks.csv TC048: reads 2.5 °C in ice, subtract 2.5; reads −3.0, add 3.0.
	for _, shown := range []float64{1.4, 2.5, -3.0} {
		p := metrology.NewPoint("ice", metrology.IcePoint(unit.CelsiusScale, nil), ptr(micro(shown)), ptr(micro(0.1)), nil)
		if e, ok := p.FoundError(); !ok || e != micro(shown) {
			t.Errorf("shows %g in ice: error %s, %v", shown, e, ok)
		}
		if e, ok := p.LeftError(); !ok || e != micro(0.1) {
			t.Errorf("left at 0.1: error %s, %v", e, ok)
		}
	}
	p := metrology.NewPoint("ice", metrology.IcePoint(unit.CelsiusScale, nil), nil, nil, nil)
	if _, ok := p.FoundError(); ok {
		t.Error("an error as found without a value")
	}
	if _, ok := p.LeftError(); ok {
		t.Error("an error as left without a value")
	}
}

func TestCheckVerdict(t *testing.T) {
	t.Parallel()
	tol, simple := celsius(1), metrology.DefaultRule()
	guarded := metrology.Rule{Kind: metrology.Guarded, Ratio: 1, Coverage: 2}
	noFound := left(at(0, 0, 0.05), 0.1)
	noFound.Found = nil
	for _, c := range []struct {
		name        string
		check       metrology.Check
		rule        metrology.Rule
		found, left metrology.Verdict
		says        string
	}{
		{"all within", metrology.Check{Points: []metrology.Point{at(0, 0.2, 0.05), at(100, -0.9, 0.05)}}, simple, metrology.Pass, metrology.Pass, ""},
		{"one beyond", metrology.Check{Points: []metrology.Point{at(0, 0.2, 0.05), at(100, 1.4, 0.05)}}, simple, metrology.Fail, metrology.Fail, "error is 1.4 C"},
		{"beyond and adjusted", metrology.Check{Points: []metrology.Point{left(at(0, 1.4, 0.05), 0.1)}}, simple, metrology.Fail, metrology.Pass, "error is 1.4 C"},
		{"left worse than found", metrology.Check{Points: []metrology.Point{left(at(0, 0.1, 0.05), 1.2)}}, simple, metrology.Pass, metrology.Fail, "error is 1.2 C"},
		{"near the bound, guarded", metrology.Check{Points: []metrology.Point{at(0, 0.95, 0.05)}}, guarded, metrology.Inconclusive, metrology.Inconclusive, "error is 0.95 C"},
		{"fail outweighs inconclusive", metrology.Check{Points: []metrology.Point{at(0, 0.95, 0.05), at(70, 2, 0.05)}}, guarded, metrology.Fail, metrology.Fail, "error is 2 C"},
		{"method not good enough", metrology.Check{Points: []metrology.Point{at(0, 0, 0.6)}}, guarded, metrology.Inconclusive, metrology.Inconclusive, "not good enough"},
		{"lost", metrology.Check{Unusable: true}, simple, metrology.Inconclusive, metrology.Inconclusive, "no as-found"},
		{"adjusted first", metrology.Check{Unusable: true, Points: []metrology.Point{noFound}}, simple, metrology.Inconclusive, metrology.Pass, "no as-found"},
		{"as found not taken", metrology.Check{Points: []metrology.Point{noFound}}, simple, metrology.Inconclusive, metrology.Pass, "no as-found"},
		{"as left not recorded", metrology.Check{LeftUnknown: true, Points: []metrology.Point{at(0, 0.2, 0.05)}}, simple, metrology.Pass, metrology.Inconclusive, "how it was left"},
		{"no points", metrology.Check{}, simple, metrology.Inconclusive, metrology.Inconclusive, "no value"},
	} {
		j := c.check.Judge(tol, c.rule)
		if j.Found != c.found || j.Left != c.left || !strings.Contains(j.Reason, c.says) || (c.says == "") != (j.Reason == "") {
			t.Errorf("%s: found %s, left %s, %q", c.name, j.Found, j.Left, j.Reason)
		}
	}
}

func TestImplausible(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		p    metrology.Point
		tol  unit.Diff
		want bool
	}{
		{at(0, 10, 0.1), celsius(1), false},
		{at(0, 10.000001, 0.1), celsius(1), true},
		{at(0, -12, 0.1), celsius(1), true},
		{at(0, 10, 0.1), fahrenheit(1.8), false},
		{left(at(0, 0.1, 0.1), 71), celsius(1), true},
		{metrology.Point{Reference: metrology.Reference{Scale: unit.CelsiusScale}}, celsius(1), false},
	} {
		if got := c.p.Implausible(c.tol); got != c.want {
			t.Errorf("%v against %v: %v", c.p, c.tol, got)
		}
	}
}

// Widening the uncertainty never turns anything into a pass or a fail that it
// was not (design notes on errors, §11), and F and C inputs give the same verdict.
func TestVerdictProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		e := rapid.Int64Range(-3*deg, 3*deg).Draw(t, "e")
		tol := celsius(rapid.Float64Range(0.1, 2).Draw(t, "tolerance"))
		u := rapid.Float64Range(0, 1).Draw(t, "u")
		more := rapid.Float64Range(0, 1).Draw(t, "more")
		rule := metrology.Rule{Kind: metrology.Guarded, Ratio: rapid.Float64Range(0.5, 1.5).Draw(t, "r"), Coverage: 2}
		if rapid.Bool().Draw(t, "by probability") {
			rule = metrology.Rule{Kind: metrology.Probability, Confidence: rapid.Float64Range(0.6, 0.99).Draw(t, "c")}
		}
		judge := func(e int64, u float64) metrology.Verdict {
			return metrology.JudgePoint(at(0, float64(e)/deg, u), tol, rule).Found
		}
		narrow, wide := judge(e, u), judge(e, u+more)
		if wide != narrow && wide != metrology.Inconclusive {
			t.Fatalf("u %g gave %s, u %g gives %s", u, narrow, u+more, wide)
		}
		if judge(-e, u) != narrow {
			t.Fatal("the sign of the error changed the verdict")
		}
		// The same error in °F: nine fifths, no shift; 5 e is whole in both.
		inC := metrology.NewPoint("x", metrology.Reference{Scale: unit.CelsiusScale, U: unit.CelsiusDiff(u)}, ptr(unit.Micro(5*e)), nil, nil)
		inF := metrology.NewPoint("x", metrology.Reference{Scale: unit.FahrenheitScale, U: unit.CelsiusDiff(u)}, ptr(unit.Micro(9*e)), nil, nil)
		for _, r := range []metrology.Rule{rule, metrology.DefaultRule()} {
			if a, b := metrology.JudgePoint(inC, tol, r).Found, metrology.JudgePoint(inF, tol, r).Found; a != b {
				t.Fatal(fmt.Sprintf("%s in C, %s in F", a, b))
			}
		}
	})
}
