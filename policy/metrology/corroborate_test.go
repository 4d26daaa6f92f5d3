package metrology_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// hot is a check at 60 and 80 °C with one error, against a reference.
func hot(at int64, e float64, ref string) metrology.Check {
	c := check(at, shown(60, e, 0.1), shown(80, e, 0.1))
	for i := range c.Points {
		c.Points[i].ReferenceID = ref
	}
	return c
}

// second is the history of a second instrument, checked on both sides of the
// readings from 5 to 6 h.
func second(checks ...metrology.Check) metrology.Facts {
	f := facts(checks...)
	f.UseUncertainty = 0.05
	return f
}

func vouch(f metrology.Facts, suspect ...string) (*metrology.Witness, string) {
	return metrology.Vouch(f, suspect, 5*hour, 6*hour, 65, 75)
}

func TestASecondInstrumentVouches(t *testing.T) {
	t.Parallel()
	w, why := vouch(second(hot(0, 0.1, "R-2"), hot(10*hour, -0.3, "R-2")), "R-1")
	if w == nil {
		t.Fatal(why)
	}
	u := 2 * math.Hypot(0.1, 0.05)
	for _, x := range []unit.Celsius{65, 70, 75} {
		b, s := w.At(5*hour, x)
		if s != metrology.Known || !near(b.Lo, -0.3-u) || !near(b.Hi, 0.1+u) || !near(b.Old, 0.1) || !near(b.Found, -0.3) {
			t.Errorf("at %g: %d, %+v", float64(x), s, b)
		}
	}
	if w.Before != 0 || w.After != 1 {
		t.Errorf("checks %d and %d", w.Before, w.After)
	}
	for _, c := range []struct {
		at int64
		x  unit.Celsius
	}{{-1, 70}, {10*hour + 1, 70}, {5 * hour, 49.9}, {5 * hour, 90.1}, {5 * hour, unit.Celsius(math.NaN())}} {
		if _, s := w.At(c.at, c.x); s != metrology.Unknown || w.Reason(c.at, c.x) == "" {
			t.Errorf("at %d, %g °C: it vouches for what its checks do not cover", c.at, float64(c.x))
		}
	}
	for _, x := range []unit.Celsius{50, 70, 90} { // 10 K around the points, where both were clearly good
		if _, s := w.At(5*hour, x); s != metrology.Known || w.Reason(5*hour, x) != "" {
			t.Errorf("at %g °C: %q", float64(x), w.Reason(5*hour, x))
		}
	}
	// At one temperature only.
	if w, why := metrology.Vouch(second(hot(0, 0, "R-2"), hot(10*hour, 0, "R-3")), nil, 5*hour, 5*hour, 72, 72); w == nil {
		t.Error(why)
	} else if _, s := w.At(5*hour, 72); s != metrology.Known {
		t.Error("not even at the one temperature")
	}
	// What it showed in between widens its bracket too, as left and as found.
	between := metrology.Check{At: 5*hour + 1, Points: []metrology.Point{left(at(60, 0.8, 0.1), -0.7), left(at(80, 0.8, 0.1), -0.7)}}
	w, why = vouch(second(hot(0, 0.1, "R-2"), between, hot(10*hour, -0.3, "R-2")))
	if w == nil {
		t.Fatal(why)
	}
	if b, _ := w.At(5*hour, 70); b.Lo > unit.CelsiusDiff(-0.7-u) || b.Hi < unit.CelsiusDiff(0.8+u) {
		t.Errorf("what was seen in between: %+v", b)
	}
}

func TestASecondInstrumentThatCannotVouch(t *testing.T) {
	t.Parallel()
	good, later := hot(0, 0.1, "R-2"), hot(10*hour, -0.3, "R-2")
	change := func(c metrology.Check, by func(*metrology.Check)) metrology.Check {
		by(&c)
		return c
	}
	untrusted := func(c *metrology.Check) { c.Untrusted = "R-2 failed" }
	for name, c := range map[string]struct {
		f    metrology.Facts
		says string
	}{
		"never checked":        {second(), "never checked"},
		"no check before":      {second(later), "no check before"},
		"no check after":       {second(good), "no check after"},
		"failed before":        {second(good, hot(4*hour, 1.5, "R-2"), later), "did not clearly pass"},
		"failed after":         {second(good, hot(9*hour, 1.5, "R-2"), later), "did not clearly pass"},
		"failed in between":    {second(good, hot(5*hour+1, 1.5, "R-2"), later), "did not clearly pass"},
		"lost after":           {second(good, metrology.Check{At: 9 * hour, Unusable: true}, later), "did not clearly pass"},
		"left unknown before":  {second(change(good, func(c *metrology.Check) { c.LeftUnknown = true }), later), "did not clearly pass"},
		"untrusted before":     {second(change(good, untrusted), later), "no check before"},
		"untrusted after":      {second(good, change(later, untrusted)), "no check after"},
		"only ice before":      {second(check(0, shown(0, 0, 0)), later), "no check before"},
		"only ice after":       {second(good, check(10*hour, shown(0, 0, 0))), "no check after"},
		"unnamed before":       {second(hot(0, 0, ""), later), "nobody knows with which reference"},
		"unnamed after":        {second(good, hot(10*hour, 0, "")), "nobody knows with which reference"},
		"the suspect's own":    {second(hot(0, 0, "R-1"), later), "R-1"},
		"the suspect's, after": {second(good, hot(10*hour, 0, "R-1")), "R-1"},
	} {
		if w, why := vouch(c.f, "R-1"); w != nil || !strings.Contains(why, c.says) {
			t.Errorf("%s: %v, %q", name, w, why)
		}
	}
	if w, why := metrology.Vouch(second(good, later), nil, 6*hour, 5*hour, 65, 75); w != nil || !strings.Contains(why, "turned round") {
		t.Errorf("times turned round: %q", why)
	}
	if w, why := metrology.Vouch(second(good, later), nil, 5*hour, 6*hour, 65, 101); w != nil {
		t.Errorf("far beyond its points: %q", why)
	}
	if w, why := metrology.Vouch(second(change(later, func(*metrology.Check) {})), nil, 10*hour, 10*hour, 65, 75); w != nil || !strings.Contains(why, "one and the same") {
		t.Errorf("one check on both sides: %q", why)
	}
	f := second(good, later)
	f.Tolerance = celsius(0)
	if w, why := vouch(f); w != nil || !strings.Contains(why, "tolerance") {
		t.Errorf("without a tolerance: %q", why)
	}
}

// Where a check of the instrument in doubt was a comparison with a reference that
// nobody named, it may have been any of the witness's. Ice and boiling water are
// made anew each time.
func TestAReferenceThatNobodyNamedIsAnyReference(t *testing.T) {
	t.Parallel()
	named := second(hot(0, 0.1, "R-2"), hot(10*hour, -0.3, "R-2"))
	water := second(hot(0, 0.1, ""), hot(10*hour, -0.3, ""))
	for _, c := range water.Checks {
		for i := range c.Points {
			c.Points[i].Kind = []string{"ice", "boiling"}[i%2]
		}
	}
	mixed := second(water.Checks[0], named.Checks[1])
	for name, c := range map[string]struct {
		f       metrology.Facts
		suspect []string
		refused bool
	}{
		"nobody named it":                    {named, []string{""}, true},
		"one named, another not":             {named, []string{"R-1", ""}, true},
		"the witness by water on one side":   {mixed, []string{""}, true},
		"the witness by water on both sides": {water, []string{""}, false},
		"both known":                         {named, []string{"R-1"}, false},
		"the instrument in doubt by water":   {named, nil, false},
	} {
		w, why := vouch(c.f, c.suspect...)
		if (w == nil) != c.refused || c.refused && !strings.Contains(why, "the instrument in doubt") {
			t.Errorf("%s: %q", name, why)
		}
	}
}

func TestADisturbedInstrumentCannotVouch(t *testing.T) {
	t.Parallel()
	for kind, spoils := range map[metrology.EventKind]bool{
		metrology.Dropped: true, metrology.Moved: true, metrology.Intermittent: true, metrology.Repaired: true,
		metrology.Adjusted: true, metrology.BatteryChanged: true, metrology.Reranged: true,
		metrology.RemovedFromUse: false, metrology.ReturnedToUse: false, metrology.OtherEvent: false,
	} {
		f := second(hot(0, 0.1, "R-2"), hot(10*hour, -0.3, "R-2"))
		f.Events = []metrology.Event{{At: 8 * hour, Kind: kind}}
		w, why := vouch(f)
		if (w == nil) != spoils || spoils != (why != "") {
			t.Errorf("%s between its checks: %q", kind, why)
		}
		f.Events[0].At = 0 // before the window of its checks
		if w, why := vouch(f); w == nil {
			t.Errorf("%s before its checks: %s", kind, why)
		}
	}
}

func TestIndependent(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		a, b   []string
		shared string
		ok     bool
	}{
		{[]string{"R-2"}, []string{"R-1"}, "", true},
		{[]string{"R-2", "R-1"}, []string{"R-1"}, "R-1", false},
		{nil, []string{""}, "", true}, // water on one side hangs on no standard
		{[]string{""}, nil, "", true},
		{nil, nil, "", true},
		{[]string{"R-2"}, []string{"R-1", ""}, "", false}, // the one that nobody named may be R-2
		{[]string{"R-2", ""}, []string{"R-1"}, "", false},
		{[]string{""}, []string{""}, "", false},
		{[]string{"R-1", ""}, []string{"", "R-1"}, "R-1", false},
	} {
		if shared, ok := metrology.Independent(c.a, c.b); ok != c.ok || shared != c.shared {
			t.Errorf("%q and %q: %q, %v", c.a, c.b, shared, ok)
		}
	}
}

func TestTwoInstrumentsDisagree(t *testing.T) {
	t.Parallel()
	// Both within their tolerances of ±1 °C at their own checks: what is further
	// apart than both tolerances together is explained by neither, whatever share
	// of the tolerance each has used.
	apart := func(x1, x2 unit.Celsius) float64 { return math.Abs(metrology.EN(x1, 1, x2, 1)) }
	if apart(74, 71.9) <= 1 {
		t.Error("2.1 °C apart and still in agreement")
	}
	if apart(74, 72.7) > 1 { // 1.3 against √2
		t.Error("1.3 °C apart and already in disagreement")
	}
	rapid.Check(t, func(t *rapid.T) {
		u1, u2 := unit.CelsiusDiff(rapid.Float64Range(0.01, 2).Draw(t, "U1")), unit.CelsiusDiff(rapid.Float64Range(0.01, 2).Draw(t, "U2"))
		beyond := unit.CelsiusDiff(rapid.Float64Range(0.001, 3).Draw(t, "beyond"))
		if metrology.EN(unit.Celsius(70+u1+u2+beyond), u1, 70, u2) <= 1 {
			t.Fatal("further apart than both uncertainties and in agreement")
		}
	})
}

// A witness's bracket holds both its checks, and more uncertainty in use never
// narrows it.
func TestWitnessProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		before, after := drawRound(t, "before", 0.9), drawRound(t, "after", 0.9)
		f := metrology.Facts{Tolerance: celsius(1), Rule: metrology.DefaultRule(), Beyond: 10,
			Checks: []metrology.Check{before.check(0), after.check(2 * hour)}}
		for _, c := range f.Checks {
			for i := range c.Points { // made anew each time: no reference to share
				c.Points[i].Kind = []string{"ice", "boiling"}[i%2]
			}
		}
		x := unit.Celsius(rapid.Float64Range(0, 100).Draw(t, "x"))
		w, why := metrology.Vouch(f, nil, hour, hour, x, x)
		if w == nil {
			t.Fatal(why)
		}
		b, s := w.At(hour, x)
		if s != metrology.Known {
			t.Fatalf("%d at %g", s, float64(x))
		}
		for _, r := range []round{before, after} {
			if e := r.error(float64(x)); e-2*r.u < float64(b.Lo)-1e-9 || e+2*r.u > float64(b.Hi)+1e-9 {
				t.Fatalf("error %g ± %g outside [%g, %g]", e, 2*r.u, b.Lo, b.Hi)
			}
		}
		f.UseUncertainty = 0.2
		wider, _ := metrology.Vouch(f, nil, hour, hour, x, x)
		if m, _ := wider.At(hour, x); m.Lo > b.Lo || m.Hi < b.Hi {
			t.Fatalf("more uncertainty: [%g, %g] became [%g, %g]", b.Lo, b.Hi, m.Lo, m.Hi)
		}
	})
}
