package metrology_test

import (
	"math"
	"regexp"
	"strings"
	"testing"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// hour counts µs. Times in these tests are hours since an invented beginning.
const hour = int64(3600 * 1e6)

// shown is a point that indicated x with error e: true x − e [°C, K].
func shown(x, e, u float64) metrology.Point {
	return metrology.Point{
		Kind:      "comparison",
		Reference: metrology.Reference{True: micro(x - e), Scale: unit.CelsiusScale, U: unit.CelsiusDiff(u)},
		Found:     ptr(micro(x)), U: unit.CelsiusDiff(u),
	}
}

// shownF is the same in °F; u is in °F too.
func shownF(x, e, u float64) metrology.Point {
	p := shown(x, e, u)
	p.Reference.Scale = unit.FahrenheitScale
	p.U = unit.DiffToKelvin(u, unit.FahrenheitScale)
	return p
}

func check(at int64, points ...metrology.Point) metrology.Check {
	return metrology.Check{At: at, Points: points}
}

// facts are checks of an instrument of ±1 °C; the last is the failed one.
func facts(checks ...metrology.Check) metrology.Facts {
	return metrology.Facts{
		Checks: checks, Failed: len(checks) - 1, Tolerance: celsius(1), Rule: metrology.DefaultRule(),
		Beyond: metrology.DefaultBeyond,
	}
}

func doubt(t *testing.T, f metrology.Facts) *metrology.Doubt {
	t.Helper()
	d, err := metrology.NewDoubt(f)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// known asks for the bounds of a reading and fails if there are none.
func known(t *testing.T, d *metrology.Doubt, at int64, x unit.Celsius) metrology.Bounds {
	t.Helper()
	b, s := d.At(at, x)
	if s != metrology.Known {
		t.Fatalf("at %d h, %g °C: standing %d, %q", at/hour, float64(x), s, d.Reason(at, x))
	}
	if r := d.Reason(at, x); r != "" {
		t.Errorf("a known error has the reason %q", r)
	}
	return b
}

func near(a unit.CelsiusDiff, b float64) bool { return math.Abs(float64(a)-b) < 1e-6 }

// standing checks what a reading's error is worth, and that Unknown has a reason.
func standing(t *testing.T, d *metrology.Doubt, at int64, x unit.Celsius, want metrology.Standing, says string) {
	t.Helper()
	_, s := d.At(at, x)
	r := d.Reason(at, x)
	if s != want || !strings.Contains(r, says) || (s == metrology.Unknown) != (r != "") {
		t.Errorf("at %d h, %g °C: standing %d (want %d), %q (want %q)", at/hour, float64(x), s, want, r, says)
	}
}

// noted checks that something is said loudly.
func noted(t *testing.T, d *metrology.Doubt, says string) {
	t.Helper()
	if !strings.Contains(strings.Join(d.Notes, "\n"), says) {
		t.Errorf("the notes do not say %q: %q", says, d.Notes)
	}
}

func TestWorkedNumbersOfTheProcedure(t *testing.T) {
	t.Parallel()
	// design notes on the procedure, §2, worked numbers: °F, U = 0.5 °F, tolerance 1.0 °F.
	for _, c := range []struct {
		name          string
		low, high     float64 // the checks' points
		e0, e1        float64
		r, lower, upp float64
	}{
		{"cook", 150, 180, 0.2, 2.4, 163.1, 160.2, 163.4},
		{"cook", 150, 180, 0.2, 2.4, 161.8, 158.9, 162.1},
		{"cook", 150, 180, 0.2, 2.4, 160.1, 157.2, 160.4},
		{"cook", 150, 180, 0.2, 2.4, 159.5, 156.6, 159.8},
		{"chill", 32, 50, 0, -1.5, 40.1, 39.6, 42.1},
		{"chill", 32, 50, 0, -1.5, 38.6, 38.1, 40.6},
	} {
		f := facts(check(0, shownF(c.low, c.e0, 0.25), shownF(c.high, c.e0, 0.25)),
			check(24*hour, shownF(c.low, c.e1, 0.25), shownF(c.high, c.e1, 0.25)))
		f.Tolerance, f.Beyond = fahrenheit(1), 0
		b := known(t, doubt(t, f), 12*hour, unit.ToCelsius(micro(c.r), unit.FahrenheitScale))
		lower, upper := c.r-float64(b.Hi)*1.8, c.r-float64(b.Lo)*1.8
		if math.Abs(lower-c.lower) > 1e-6 || math.Abs(upper-c.upp) > 1e-6 {
			t.Errorf("%s %g: %.4f to %.4f, the design notes on the procedure says %g to %g", c.name, c.r, lower, upper, c.lower, c.upp)
		}
	}
}

func TestErrorIsInterpolatedOverIndicatedTemperature(t *testing.T) {
	t.Parallel()
	// design notes on the procedure, §2: errors 0.4 at 160, 3.0 at 180; at indicated 170 error 1.7; indicated 190 unknown.
	f := facts(check(0, shownF(160, 0, 0), shownF(180, 0, 0)), check(hour, shownF(160, 0.4, 0), shownF(180, 3, 0)))
	f.Tolerance, f.Beyond = fahrenheit(0.3), 0
	d := doubt(t, f)
	at := func(v float64) unit.Celsius { return unit.ToCelsius(micro(v), unit.FahrenheitScale) }
	for x, want := range map[float64]float64{160: 0.4, 170: 1.7, 180: 3.0} {
		if b := known(t, d, hour, at(x)); !near(b.Found*1.8, want) || !near(b.Hi*1.8, want) {
			t.Errorf("indicated %g °F: error %.4f °F", x, float64(b.Found)*1.8)
		}
	}
	standing(t, d, hour, at(190), metrology.Unknown, "covers this temperature")
	standing(t, d, hour, at(159.99), metrology.Unknown, "covers this temperature")
}

func TestPublishedInterpolation(t *testing.T) {
	t.Parallel()
	in := regexp.MustCompile(`T=([\d.]+) degC`)
	f := facts(check(0, shown(0, 0, 0.1), shown(99.97, 0, 0.2)), check(hour, shown(0, 0.2, 0.1), shown(99.97, 1.5, 0.2)))
	f.Tolerance = celsius(0.1) // so that neither point clears itself
	d := doubt(t, f)
	for _, r := range section(t, published(t, "drift_interval.csv"), "temperature_interpolation") {
		m := in.FindStringSubmatch(r["inputs"])
		if m == nil {
			t.Fatalf("%s: cannot read %q", r["id"], r["inputs"])
		}
		out := strings.Split(r["recomputed_value"], " ; ")
		b := known(t, d, hour, unit.Celsius(number(t, m[1])))
		if !near(b.Found, number(t, out[0])) || !near(b.U, number(t, out[2])) {
			t.Errorf("%s: error %g, u %g; row says %s, fully correlated %s", r["id"], b.Found, b.U, out[0], out[2])
		}
	}
}

func TestPublishedBrackets(t *testing.T) {
	t.Parallel()
	in := regexp.MustCompile(`reading ([\d.]+), error bracket \[(-?[\d.]+), (-?[\d.]+)\]`)
	// The rows' own e0, e1 and u: 0.1, 1.6 and 0.25 (drift_interval.csv DI0049), k = 2.
	d := doubt(t, facts(check(0, shown(60, 0.1, 0.25), shown(80, 0.1, 0.25)), check(hour, shown(60, 1.6, 0.25), shown(80, 1.6, 0.25))))
	for _, r := range section(t, published(t, "drift_interval.csv"), "bracket_verdict") {
		m := in.FindStringSubmatch(r["inputs"])
		if m == nil {
			t.Fatalf("%s: cannot read %q", r["id"], r["inputs"])
		}
		b := known(t, d, hour/2, unit.Celsius(number(t, m[1])))
		if !near(b.Lo, number(t, m[2])) || !near(b.Hi, number(t, m[3])) {
			t.Errorf("%s: [%g, %g], row says [%s, %s]", r["id"], b.Lo, b.Hi, m[2], m[3])
		}
	}
}

func TestAsLeftCountsAtTheLastGoodCheck(t *testing.T) {
	t.Parallel()
	// Found 3.0 high, left 0.2 high; then found 1.4 high. design notes on the procedure, §2.2.
	d := doubt(t, facts(check(0, left(at(70, 3, 0), 0.2)), check(10*hour, at(70, 1.4, 0))))
	b := known(t, d, 5*hour, 71.4)
	if !near(b.Lo, 0.2) || b.Hi > 1.5 || b.Hi < 1.4 {
		t.Errorf("bracket [%g, %g]", b.Lo, b.Hi)
	}
	standing(t, d, 0, 71.4, metrology.Trusted, "") // at the moment of the last good check
	after, until, good := d.Window()
	if after != 0 || until != math.MaxInt64 || good != 0 {
		t.Errorf("window %d to %d, last good %d", after, until, good)
	}
	noted(t, d, "the window is open")
}

func TestEverythingSeenInTheWindowWidensTheBracket(t *testing.T) {
	t.Parallel()
	guarded := metrology.Rule{Kind: metrology.Guarded, Ratio: 1, Coverage: 2}
	points := func(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0.1), shown(80, e, 0.1)} }
	f := facts(check(0, points(0.1)...), check(2*hour, points(-0.9)...), check(10*hour, points(2)...))
	f.Rule, f.UseUncertainty = guarded, 0.1
	b := known(t, doubt(t, f), 5*hour, 70)
	u := 2 * math.Sqrt(0.1*0.1+0.1*0.1) // design notes on errors, §3: the larger u, with u_use added
	if !near(b.Lo, -0.9-u) || !near(b.Hi, 2+u) || !near(b.Old, 0.1) || !near(b.Found, 2) || !near(b.U, u/2) {
		t.Errorf("%+v: the inconclusive check at 2 h (−0.9) is not a good one but was seen", b)
	}
}

func TestOnePointGivesTheHullOfOffsetAndGain(t *testing.T) {
	t.Parallel()
	d := doubt(t, facts(check(0, shown(80, 0, 0)), check(hour, shown(80, 2, 0))))
	// design notes on errors, §6 with Tz = 0 °C: gain e = 2·T/80, offset e = 2; by hand.
	for _, c := range []struct{ x, lo, hi float64 }{{80, 0, 2}, {72, 0, 2}, {88, 0, 2.2}, {90, 0, 2.25}, {70, 0, 2}} {
		if b := known(t, d, hour, unit.Celsius(c.x)); !near(b.Lo, c.lo) || !near(b.Hi, c.hi) {
			t.Errorf("at %g: [%g, %g]", c.x, b.Lo, b.Hi)
		}
	}
	standing(t, d, hour, 90.1, metrology.Unknown, "covers this temperature")
	standing(t, d, hour, 69.9, metrology.Unknown, "covers this temperature")
	// Near 0 °C the gain says nothing: only the offset, whatever the sign.
	d = doubt(t, facts(check(0, shown(5, 0, 0)), check(hour, shown(5, 2, 0))))
	if b := known(t, d, hour, 14); !near(b.Lo, 0) || !near(b.Hi, 2) {
		t.Errorf("near the ice point: [%g, %g]", b.Lo, b.Hi)
	}
}

func TestBeyondThePointsUncertaintyGrows(t *testing.T) {
	t.Parallel()
	d := doubt(t, facts(check(0, shown(60, 0, 0.1), shown(80, 0, 0.1)), check(hour, shown(60, 1, 0.1), shown(80, 2, 0.1))))
	inside, end := known(t, d, hour, 80), known(t, d, hour, 90)
	if !near(inside.U, 0.1) || !near(end.U, 0.1*math.Sqrt2) {
		t.Errorf("u %g at the point, %g ten kelvin beyond", inside.U, end.U)
	}
	// Held 2, extrapolated 2.5 at 90 °C; U = 2·0.1·√2; by hand.
	if !near(end.Hi, 2.5+0.2*math.Sqrt2) || !near(end.Lo, -0.2*math.Sqrt2) || !near(end.Found, 2.25) {
		t.Errorf("%+v", end)
	}
}

func TestUnknownWhereTheFailedCheckHasNoPoint(t *testing.T) {
	t.Parallel()
	d := doubt(t, facts(check(0, shown(0, 0, 0), shown(100, 0, 0)), check(hour, shown(100, 3, 0))))
	known(t, d, hour, 95)
	standing(t, d, hour, 72, metrology.Unknown, "beyond the points")
	standing(t, d, hour, unit.Celsius(math.NaN()), metrology.Unknown, "not a number")
	standing(t, d, hour, unit.Celsius(math.Inf(1)), metrology.Unknown, "covers this temperature")
	standing(t, d, hour, unit.Celsius(math.Inf(-1)), metrology.Unknown, "covers this temperature")
}

func TestNoLastGoodCheck(t *testing.T) {
	t.Parallel()
	// the design notes on the procedure X01: window from first use, unknown for all, said loudly.
	f := facts(check(100*hour, shown(0, 2, 0), shown(100, 3, 0)))
	d := doubt(t, f)
	if after, _, good := d.Window(); after != math.MinInt64 || good != -1 {
		t.Errorf("window from %d, last good %d", after, good)
	}
	noted(t, d, "no last good check")
	f.InServiceFrom = 50 * hour
	d = doubt(t, f)
	if after, _, good := d.Window(); after != 50*hour || good != -1 {
		t.Errorf("window from %d, last good %d", after, good)
	}
	standing(t, d, 60*hour, 72, metrology.Unknown, "since it went into service")
	standing(t, d, 40*hour, 72, metrology.Unknown, "since it went into service") // a wrong date clears nothing
}

func TestConstant(t *testing.T) {
	t.Parallel()
	d := metrology.Constant(-0.4, 2.1, 0.1, 1.6, 0.25, 0, 10*hour, 12*hour)
	want := metrology.Bounds{Lo: -0.4, Hi: 2.1, Old: 0.1, Found: 1.6, U: 0.25}
	for _, at := range []int64{1, 10 * hour, 12 * hour} {
		for _, x := range []unit.Celsius{-40, 72, 300} {
			if b := known(t, d, at, x); b != want {
				t.Errorf("%+v", b)
			}
		}
	}
	standing(t, d, 0, 72, metrology.Trusted, "")
	standing(t, d, 12*hour+1, 72, metrology.Trusted, "")
	if after, until, _ := d.Window(); after != 0 || until != 12*hour {
		t.Errorf("window %d to %d", after, until)
	}
}

func TestRefusedFacts(t *testing.T) {
	t.Parallel()
	good := func() metrology.Facts { return facts(check(0, shown(70, 0, 0)), check(hour, shown(70, 2, 0))) }
	for name, spoil := range map[string]func(*metrology.Facts){
		"no such check":      func(f *metrology.Facts) { f.Failed = 2 },
		"negative index":     func(f *metrology.Facts) { f.Failed = -1 },
		"no tolerance":       func(f *metrology.Facts) { f.Tolerance = celsius(0) },
		"negative distance":  func(f *metrology.Facts) { f.Beyond = -1 },
		"distance NaN":       func(f *metrology.Facts) { f.Beyond = unit.CelsiusDiff(math.NaN()) },
		"uncertainty NaN":    func(f *metrology.Facts) { f.UseUncertainty = unit.CelsiusDiff(math.NaN()) },
		"checks not in time": func(f *metrology.Facts) { f.Checks[0].At = 2 * hour },
		"events not in time": func(f *metrology.Facts) { f.Events = []metrology.Event{{At: 2}, {At: 1}} },
	} {
		f := good()
		spoil(&f)
		if _, err := metrology.NewDoubt(f); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if _, err := metrology.NewDoubt(good()); err != nil {
		t.Error(err)
	}
}

func TestAtDoesNotAllocate(t *testing.T) {
	d := benchmarked(t)
	var b metrology.Bounds
	if n := testing.AllocsPerRun(100, func() { b, _ = d.At(5*hour, 72.3) }); n != 0 || b.Hi == 0 {
		t.Errorf("%g allocations, %+v", n, b)
	}
}

// benchmarked is a doubt of ordinary size: three points, a repeat in between.
func benchmarked(t testing.TB) *metrology.Doubt {
	points := func(e float64) []metrology.Point {
		return []metrology.Point{shown(0, 0.1, 0.1), shown(71, e, 0.1), shown(100, e, 0.2)}
	}
	d, err := metrology.NewDoubt(facts(check(0, points(0.2)...), check(2*hour, points(1.2)...), check(10*hour, points(2)...)))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func BenchmarkDoubtAt(b *testing.B) {
	d := benchmarked(b)
	x := unit.Celsius(60)
	for b.Loop() {
		d.At(5*hour, x)
		if x += 0.01; x > 105 {
			x = 60
		}
	}
}
