package metrology_test

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// both is a point at 60 and one at 80 °C with the same error.
func both(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0), shown(80, e, 0)} }

func TestTheEventThatMayDateTheOnset(t *testing.T) {
	t.Parallel()
	type ev = metrology.Event
	for _, c := range []struct {
		name   string
		events []ev
		want   int64
	}{
		{"none", nil, 0},
		{"dropped", []ev{{At: 4 * hour, Kind: metrology.Dropped}}, 4 * hour},
		{"moved, then dropped", []ev{{At: 3 * hour, Kind: metrology.Moved}, {At: 4 * hour, Kind: metrology.Dropped}}, 3 * hour},
		{"something noted", []ev{{At: 4 * hour, Kind: metrology.OtherEvent, Note: "steam hose on the probe"}}, 4 * hour},
		{"something, but nobody wrote what", []ev{{At: 4 * hour, Kind: metrology.OtherEvent}}, 0},
		{"at the last good check", []ev{{At: hour, Kind: metrology.Dropped}}, 0},
		{"before the last good check and again after", []ev{{At: hour / 2, Kind: metrology.Dropped}, {At: 5 * hour, Kind: metrology.Dropped}}, 5 * hour},
		{"at the failed check", []ev{{At: 10 * hour, Kind: metrology.Dropped}}, 10 * hour},
		{"after the failed check", []ev{{At: 10*hour + 1, Kind: metrology.Dropped}}, 0},
		{"repaired dates nothing", []ev{{At: 4 * hour, Kind: metrology.Repaired}}, 0},
		{"taken out dates nothing", []ev{{At: 4 * hour, Kind: metrology.RemovedFromUse}}, 0},
	} {
		f := facts(check(0, both(0)...), check(hour, both(0)...), check(10*hour, both(2)...))
		f.Events = c.events
		if got := doubt(t, f).Event; got != c.want {
			t.Errorf("%s: %d µs, want %d", c.name, got, c.want)
		}
	}
	if e := metrology.Constant(0, 1, 0, 1, 0.1, 0, hour, hour).Event; e != 0 {
		t.Errorf("a bracket given by hand dates an event at %d", e)
	}
}

func TestDroppedOrMovedLeavesTheBracket(t *testing.T) {
	t.Parallel()
	f := facts(check(0, both(0)...), check(10*hour, both(2)...))
	want := known(t, doubt(t, f), 2*hour, 70)
	for _, kind := range []metrology.EventKind{metrology.Dropped, metrology.Moved, metrology.OtherEvent} {
		f.Events = []metrology.Event{{At: 5 * hour, Kind: kind, Note: "on the floor"}}
		// Before the drop as well as after it: the verdict does not use the date.
		for _, at := range []int64{2 * hour, 8 * hour} {
			if b := known(t, doubt(t, f), at, 70); b != want {
				t.Errorf("%s: %+v, without it %+v", kind, b, want)
			}
		}
	}
}

func TestNoWindowJumpsOverAnEvent(t *testing.T) {
	t.Parallel()
	// Something happened to it at 5 h, and it was not checked after: the window
	// starts at the last good check before that, never at the event.
	for _, kind := range []metrology.EventKind{
		metrology.Adjusted, metrology.Repaired, metrology.Dropped, metrology.BatteryChanged, metrology.Moved,
		metrology.Reranged, metrology.Intermittent, metrology.OtherEvent, metrology.RemovedFromUse, metrology.ReturnedToUse,
	} {
		f := facts(check(0, both(0)...), check(2*hour, both(0)...), check(10*hour, both(2)...))
		f.Events = []metrology.Event{{At: 5 * hour, Kind: kind}}
		d := doubt(t, f)
		if after, _, good := d.Window(); after != 2*hour || good != 1 {
			t.Errorf("%s: in doubt since %d h", kind, after/hour)
		}
		if _, s := d.At(3*hour, 70); s == metrology.Trusted {
			t.Errorf("%s: a reading before it is trusted", kind)
		}
		// Checked good after it: that check is the last good one.
		f.Checks = []metrology.Check{f.Checks[0], check(6*hour, both(0)...), f.Checks[2]}
		if after, _, good := doubt(t, f).Window(); after != 6*hour || good != 1 {
			t.Errorf("%s, then a good check: in doubt since %d h", kind, after/hour)
		}
	}
}

func TestARepeatWithoutACauseIsAFinding(t *testing.T) {
	t.Parallel()
	type ev = metrology.Event
	fixed := check(10*hour+1, left(at(60, 2, 0), 0), left(at(80, 2, 0), 0))
	for _, c := range []struct {
		name   string
		first  metrology.Check
		then   []metrology.Check
		events []ev
		says   string // empty: no finding
	}{
		{"passed at once", check(10*hour, both(2)...), []metrology.Check{check(10*hour+1, both(0.3)...)}, nil, "(attempt 2)"},
		{"passed at the third", check(10*hour, both(2)...), []metrology.Check{check(10*hour+1, both(1.5)...), check(10*hour+2, both(0.3)...)}, nil, "(attempt 3)"},
		{"taken out is no cause", check(10*hour, both(2)...), []metrology.Check{check(12*hour, both(0.3)...)}, []ev{{At: 11 * hour, Kind: metrology.RemovedFromUse}}, "(attempt 2)"},
		{"repaired in between", check(10*hour, both(2)...), []metrology.Check{check(12*hour, both(0.3)...)}, []ev{{At: 11 * hour, Kind: metrology.Repaired}}, ""},
		{"adjusted at the failed check", check(10*hour, left(at(60, 2, 0), 0.1), left(at(80, 2, 0), 1.5)), []metrology.Check{check(12*hour, both(0.3)...)}, nil, ""},
		{"adjusted at a repeat", check(10*hour, both(2)...), []metrology.Check{fixed, check(12*hour, both(0.3)...)}, nil, ""},
		{"never passed", check(10*hour, both(2)...), []metrology.Check{check(12*hour, both(1.3)...)}, nil, ""},
		{"passed in ice only", check(10*hour, both(2)...), []metrology.Check{check(12*hour, shown(0, 0, 0))}, nil, ""},
		{"not repeated", check(10*hour, both(2)...), nil, nil, ""},
		{"lost", metrology.Check{At: 10 * hour, Unusable: true}, []metrology.Check{check(12*hour, both(0.3)...)}, nil, ""},
	} {
		f := facts(append([]metrology.Check{check(0, both(0)...), c.first}, c.then...)...)
		f.Failed, f.Events = 1, c.events
		notes := strings.Join(doubt(t, f).Notes, "\n")
		if found := strings.Contains(notes, "a finding"); found != (c.says != "") || !strings.Contains(notes, c.says) {
			t.Errorf("%s: %q", c.name, notes)
		}
	}
	// An inconclusive check is there to be repeated.
	u := func(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0.1), shown(80, e, 0.1)} }
	f := facts(check(0, u(0)...), check(10*hour, u(1.1)...), check(12*hour, u(0.3)...))
	f.Failed, f.Rule = 1, metrology.Rule{Kind: metrology.Guarded, Ratio: 1, Coverage: 2}
	if notes := strings.Join(doubt(t, f).Notes, "\n"); strings.Contains(notes, "a finding") {
		t.Errorf("inconclusive and repeated: %q", notes)
	}
}

// guessed is a round with few degrees of freedom at every point.
func guessed(t *rapid.T, c metrology.Check) metrology.Check {
	for i := range c.Points {
		c.Points[i].DoF = float64(rapid.IntRange(0, 12).Draw(t, "dof"))
	}
	return c
}

// Swapping what was left at the last good check with what was found at the
// failed one leaves the bracket; a longer gap leaves it too and never makes a
// reading trusted that was not (design notes on errors, §11).
func TestSwappedEndsAndWiderGaps(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		one, two := guessed(t, drawRound(t, "one", 0.9).check(0)), guessed(t, drawRound(t, "two", 0.9).check(hour))
		x := unit.Celsius(rapid.Float64Range(-12, 112).Draw(t, "x"))
		at := func(before, after metrology.Check, gap int64) (metrology.Bounds, metrology.Standing) {
			before.At, after.At = 0, gap
			after.LeftUnknown = true // so that it clears nothing, however small its error
			d, err := metrology.NewDoubt(facts(before, after))
			if err != nil {
				t.Fatal(err)
			}
			return d.At(hour/2, x)
		}
		b, s := at(one, two, hour)
		swapped, s2 := at(two, one, hour)
		if s != s2 || !near(b.Lo, float64(swapped.Lo)) || !near(b.Hi, float64(swapped.Hi)) || b.U != swapped.U {
			t.Fatalf("%+v swapped is %+v", b, swapped)
		}
		if longer, s3 := at(one, two, 50*hour); longer != b || s3 != s || s == metrology.Trusted {
			t.Fatalf("%+v in a longer gap is %+v", b, longer)
		}
	})
}

// More uncertainty at a check or in use, and fewer degrees of freedom, never
// narrow the bracket; between two nodes it has the fewer degrees of freedom.
func TestFewDegreesOfFreedomNeverNarrow(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		good, found := drawRound(t, "good", 0.9), failing(t)
		x := unit.Celsius(rapid.Float64Range(-9, 109).Draw(t, "x"))
		few := float64(rapid.IntRange(1, 20).Draw(t, "few"))
		bracket := func(moreU, use, dof float64) metrology.Bounds {
			g, f := good, found
			g.u, f.u = g.u+moreU, f.u+moreU
			a, z := g.check(0), f.check(hour)
			z.Points[rapid.IntRange(0, 2).Draw(t, "point")].DoF = dof
			all := facts(a, z)
			all.UseUncertainty = unit.CelsiusDiff(use)
			d, err := metrology.NewDoubt(all)
			if err != nil {
				t.Fatal(err)
			}
			b, s := d.At(hour/2, x)
			if s != metrology.Known {
				t.Fatal(d.Reason(hour/2, x))
			}
			return b
		}
		inside := func(n, w metrology.Bounds, what string) {
			if w.Lo > n.Lo+1e-9 || w.Hi < n.Hi-1e-9 {
				t.Fatalf("%s: [%g, %g] became [%g, %g]", what, n.Lo, n.Hi, w.Lo, w.Hi)
			}
		}
		use := rapid.Float64Range(0, 0.3).Draw(t, "use")
		known, guess := bracket(0, use, 0), bracket(0, use, few)
		inside(known, guess, "few repeats")
		inside(guess, bracket(0, use, max(1, few-1)), "one repeat less")
		inside(guess, bracket(0.1, use, few), "more uncertainty")
		inside(guess, bracket(0, use+0.1, few), "more uncertainty in use")
		if known.DoF != 0 || guess.DoF != 0 && guess.DoF != few || math.IsNaN(float64(guess.Hi)) {
			t.Fatalf("%+v and %+v", known, guess)
		}
	})
}
