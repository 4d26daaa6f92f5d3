package metrology_test

import (
	"math"
	"testing"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// Edge cases of the design notes on the procedure, §12, and of the window's
// two ends. Temperatures and errors are invented.

func TestFailsOnlyAboveSomeTemperature(t *testing.T) {
	t.Parallel()
	three := func(hot float64) []metrology.Point {
		return []metrology.Point{shown(0, 0.1, 0), shown(70, 0.2, 0), shown(100, hot, 0)}
	}
	d := doubt(t, facts(check(0, three(0.1)...), check(hour, three(2.5)...)))
	standing(t, d, hour/2, 4, metrology.Trusted, "")
	standing(t, d, hour/2, 69, metrology.Trusted, "")
	if b := known(t, d, hour/2, 100); !near(b.Found, 2.5) {
		t.Errorf("at the failing point: %+v", b)
	}
	if b := known(t, d, hour/2, 85); !near(b.Found, 1.35) { // half way from 0.2 to 2.5
		t.Errorf("between a good and a failing point: %+v", b)
	}
}

func TestFailsInIceAndIsFineAtTheCook(t *testing.T) {
	t.Parallel()
	points := func(ice float64) []metrology.Point {
		return []metrology.Point{shown(0, ice, 0), shown(74, 0.1, 0), shown(100, 0.1, 0)}
	}
	d := doubt(t, facts(check(0, points(0.1)...), check(hour, points(-1.8)...)))
	standing(t, d, hour/2, 75, metrology.Trusted, "")            // the cook points decide
	if b := known(t, d, hour/2, 4); !near(b.Lo, -1.8+1.9*4/74) { // 4/74 of the way from −1.8 to 0.1
		t.Errorf("a chill step is suspect: %+v", b)
	}
	if after, _, _ := d.WindowOver(74, 100); after != d.Until {
		t.Errorf("nothing is in doubt at the cook step, yet its window starts at %d", after)
	}
}

func TestPassedButAtTheWrongPoints(t *testing.T) {
	t.Parallel()
	both := func(e float64) []metrology.Point { return []metrology.Point{shown(0, 0, 0), shown(100, e, 0)} }
	d := doubt(t, facts(check(0, both(0.1)...), check(5*hour, shown(0, 0, 0)), check(10*hour, both(2)...)))
	if b := known(t, d, hour, 74); b.Hi < 1.4 { // before the ice check: still in doubt
		t.Errorf("%+v", b)
	}
	if after, _, good := d.WindowOver(74, 74); after != 0 || good != 0 {
		t.Errorf("cook: window from %d, last good %d", after, good)
	}
	if after, _, good := d.WindowOver(2, 4); after != 5*hour || good != 1 {
		t.Errorf("chill: window from %d, last good %d", after, good)
	}
	if after, _, good := d.WindowAmong(2, 74); after != 0 || good != 0 { // wherever some check was ever good
		t.Errorf("chill to cook: window from %d, last good %d", after, good)
	}
	standing(t, d, hour, 4, metrology.Trusted, "") // what the ice check does cover
	if after, _, good := d.Window(); after != 0 || good != 0 {
		t.Errorf("the longest window: from %d, last good %d", after, good)
	}
}

func TestRepeatedUntilItPassed(t *testing.T) {
	t.Parallel()
	two := func(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0), shown(80, e, 0)} }
	f := facts(check(0, two(0.1)...), check(10*hour, two(2)...), check(10*hour+1, two(1.5)...), check(10*hour+2, two(0.3)...))
	f.Failed = 1 // the first valid result governs
	d := doubt(t, f)
	if b := known(t, d, 5*hour, 70); !near(b.Hi, 2) || !near(b.Found, 2) {
		t.Errorf("the window before: %+v", b)
	}
	if d.Until != 10*hour+2 {
		t.Errorf("until %d", d.Until)
	}
	if b := known(t, d, 10*hour+1, 70); !near(b.Lo, 0.3) || !near(b.Hi, 2) {
		t.Errorf("until the repeat that passed: %+v", b)
	}
	// Repeats within one check: every one is in the bracket, none hides another.
	d = doubt(t, facts(check(0, two(0)...), check(hour, shown(60, 2, 0), shown(80, 2, 0), shown(80.1, 0.1, 0.1))))
	if b := known(t, d, hour, 80); !near(b.Found, 2) || b.Hi < 2 || b.Lo > 0 {
		t.Errorf("first repeat governs: %+v", b)
	}
	// A pass on the second try proves nothing: both tries must pass for a last good check.
	d = doubt(t, facts(check(0, two(0)...), check(hour, shown(60, 0, 0), shown(80, 3, 0), shown(77.1, 0.1, 0)), check(2*hour, two(2)...)))
	if after, _, good := d.WindowOver(70, 70); after != 0 || good != 0 {
		t.Errorf("window from %d, last good %d", after, good)
	}
}

func TestFaultThatComesAndGoes(t *testing.T) {
	t.Parallel()
	two := func(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0), shown(80, e, 0)} }
	f := facts(check(0, two(0)...), check(10*hour, shown(60, 0, 0), shown(80, 2, 0)), check(20*hour, two(0)...))
	f.Failed = 1
	standing(t, doubt(t, f), 5*hour, 55, metrology.Trusted, "") // clearly passed at 60 °C …
	f.Events = []metrology.Event{{At: 5 * hour, Kind: metrology.Intermittent}}
	d := doubt(t, f)
	standing(t, d, 5*hour, 55, metrology.Unknown, "comes and goes") // … which a fault that comes and goes makes worthless
	standing(t, d, hour, 70, metrology.Unknown, "comes and goes")
	known(t, d, 15*hour, 70)
	noted(t, d, "comes and goes")
	f.Events[0].At = 12 * hour
	d = doubt(t, f)
	known(t, d, 5*hour, 70)
	standing(t, d, 11*hour, 70, metrology.Unknown, "comes and goes")
}

func TestAdjustedBeforeItWasFound(t *testing.T) {
	t.Parallel()
	two := func(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0), shown(80, e, 0)} }
	first := left(at(60, 0, 0), 0.1)
	first.Found = nil
	other := at(80, 0.1, 0) // read after the adjustment
	d := doubt(t, facts(check(0, two(0)...), check(hour, first, other)))
	standing(t, d, hour/2, 70, metrology.Unknown, "no as-found")
	noted(t, d, "no as-found")
	// Lost or broken (X09): the same, and no as-left either.
	d = doubt(t, facts(check(0, two(0)...), metrology.Check{At: hour, Unusable: true}))
	standing(t, d, hour/2, 70, metrology.Unknown, "no as-found")
	if after, until, good := d.Window(); after != 0 || until != math.MaxInt64 || good != 0 {
		t.Errorf("window %d to %d, last good %d", after, until, good)
	}
}

func TestDisturbances(t *testing.T) {
	t.Parallel()
	two := func(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0), shown(80, e, 0)} }
	type ev = metrology.Event
	adjusted := metrology.Check{At: 6 * hour, Points: []metrology.Point{left(at(60, 2, 0), 0.1), left(at(80, 2, 0), 0.1)}}
	for _, c := range []struct {
		name   string
		event  ev
		inside *metrology.Check // at 6 h
		says   string           // empty: the bracket stands
	}{
		{"repaired", ev{At: 5 * hour, Kind: metrology.Repaired}, nil, "repaired"},
		{"adjusted", ev{At: 5 * hour, Kind: metrology.Adjusted}, nil, "adjusted"},
		{"battery", ev{At: 5 * hour, Kind: metrology.BatteryChanged}, nil, "battery changed"},
		{"re-ranged", ev{At: 5 * hour, Kind: metrology.Reranged}, nil, "re-ranged"},
		{"dropped", ev{At: 5 * hour, Kind: metrology.Dropped}, nil, ""},
		{"moved", ev{At: 5 * hour, Kind: metrology.Moved}, nil, ""},
		{"other", ev{At: 5 * hour, Kind: metrology.OtherEvent}, nil, ""},
		{"before the window", ev{At: 0, Kind: metrology.Repaired}, nil, ""},
		{"after the failed check", ev{At: 10*hour + 1, Kind: metrology.Repaired}, nil, ""},
		{"just before the failed check", ev{At: 10*hour - 1, Kind: metrology.Adjusted}, nil, "adjusted"},
		{"at the failed check, which is its as-found", ev{At: 10 * hour, Kind: metrology.Adjusted}, nil, ""},
		{"as found an hour before", ev{At: 7 * hour, Kind: metrology.BatteryChanged}, ptr(check(6*hour, two(1.5)...)), ""},
		{"as found more than an hour before", ev{At: 7*hour + 1, Kind: metrology.BatteryChanged}, ptr(check(6*hour, two(1.5)...)), "battery"},
		{"as found after", ev{At: 6*hour - 1, Kind: metrology.Adjusted}, ptr(check(6*hour, two(1.5)...)), "adjusted"},
		{"as left not recorded", ev{}, ptr(metrology.Check{At: 6 * hour, Points: two(1.5), LeftUnknown: true}), "not recorded"},
		{"adjusted against a bad reference", ev{}, ptr(metrology.Check{At: 6 * hour, Points: adjusted.Points, Untrusted: "R-2 failed"}), "can be trusted"},
	} {
		f := facts(check(0, two(0)...))
		if c.inside != nil {
			f.Checks = append(f.Checks, *c.inside)
		}
		f.Checks = append(f.Checks, check(10*hour, two(2)...))
		f.Failed = len(f.Checks) - 1
		if c.event.Kind != "" {
			f.Events = []ev{c.event}
		}
		want := metrology.Known
		if c.says != "" {
			want = metrology.Unknown
		}
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			standing(t, doubt(t, f), 3*hour, 70, want, c.says)
		})
	}
}

func TestUntrustedChecksAreNoChecks(t *testing.T) {
	t.Parallel()
	// the design notes on the procedure X02: the window goes back to the last check with a trusted reference.
	two := func(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0), shown(80, e, 0)} }
	bad := metrology.Check{At: 5 * hour, Points: two(-0.8), Untrusted: "its reference R-2 failed on its own check"}
	f := facts(check(0, two(0)...), bad, check(10*hour, two(2)...))
	d := doubt(t, f)
	if after, _, good := d.Window(); after != 0 || good != 0 {
		t.Errorf("window from %d, last good %d", after, good)
	}
	if b := known(t, d, hour, 70); !near(b.Lo, 0) {
		t.Errorf("what it showed is no evidence: %+v", b)
	}
	noted(t, d, "R-2 failed")
	// The failed check itself is not trusted: no as-found value.
	f.Failed = 1
	d = doubt(t, f)
	standing(t, d, hour, 70, metrology.Unknown, "R-2 failed")
}

func TestInconclusiveIsNotALastGoodCheck(t *testing.T) {
	t.Parallel()
	two := func(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0.1), shown(80, e, 0.1)} }
	f := facts(check(0, two(0)...), check(5*hour, two(0.9)...), check(10*hour, two(1.1)...))
	f.Rule = metrology.Rule{Kind: metrology.Guarded, Ratio: 1, Coverage: 2}
	d := doubt(t, f)
	if after, _, good := d.Window(); after != 0 || good != 0 {
		t.Errorf("window from %d, last good %d", after, good)
	}
	noted(t, d, "inconclusive and is treated as failed")
}

func TestUntil(t *testing.T) {
	t.Parallel()
	const failedAt = 10 * hour
	two := func(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0), shown(80, e, 0)} }
	fixed := []metrology.Point{left(at(60, 2, 0), 0), left(at(80, 2, 0), 0.1)}
	halfFixed := []metrology.Point{left(at(60, 2, 0), 0), left(at(80, 2, 0), 1.1)}
	out := func(at int64) metrology.Event { return metrology.Event{At: at, Kind: metrology.RemovedFromUse} }
	back := func(at int64) metrology.Event { return metrology.Event{At: at, Kind: metrology.ReturnedToUse} }
	for _, c := range []struct {
		name   string
		failed metrology.Check
		then   []metrology.Check
		events []metrology.Event
		want   int64
	}{
		{"open", check(failedAt, two(2)...), nil, nil, math.MaxInt64},
		{"removed", check(failedAt, two(2)...), nil, []metrology.Event{out(11 * hour)}, 11 * hour},
		{"removed before it failed", check(failedAt, two(2)...), nil, []metrology.Event{out(9 * hour)}, math.MaxInt64},
		{"removed at the check", check(failedAt, two(2)...), nil, []metrology.Event{out(failedAt)}, failedAt},
		{"adjusted at the check", check(failedAt, fixed...), nil, nil, failedAt},
		{"adjusted, not well", check(failedAt, halfFixed...), nil, nil, math.MaxInt64},
		{"adjusted, not well, removed", check(failedAt, halfFixed...), nil, []metrology.Event{out(12 * hour)}, 12 * hour},
		{"later pass", check(failedAt, two(2)...), []metrology.Check{check(13*hour, two(0.5)...)}, nil, 13 * hour},
		{"later adjustment", check(failedAt, two(2)...), []metrology.Check{check(13*hour, fixed...)}, nil, 13 * hour},
		{"later failure, later pass", check(failedAt, two(2)...), []metrology.Check{check(12*hour, two(3)...), check(13*hour, two(0.5)...)}, nil, 13 * hour},
		{"removed before the pass", check(failedAt, two(2)...), []metrology.Check{check(13*hour, two(0.5)...)}, []metrology.Event{out(11 * hour)}, 11 * hour},
		{"untrusted pass", check(failedAt, two(2)...), []metrology.Check{{At: 13 * hour, Points: two(0), Untrusted: "expired"}}, nil, math.MaxInt64},
		{"back without a check", check(failedAt, two(2)...), []metrology.Check{check(20*hour, two(0.5)...)}, []metrology.Event{out(11 * hour), back(12 * hour)}, 20 * hour},
		{"back after the check", check(failedAt, two(2)...), []metrology.Check{check(13*hour, two(0.5)...)}, []metrology.Event{out(11 * hour), back(14 * hour)}, 11 * hour},
		{"an ice point settles nothing at 80 °C", check(failedAt, two(2)...), []metrology.Check{check(13*hour, shown(0, 0, 0))}, nil, math.MaxInt64},
	} {
		f := facts(check(0, two(0)...), c.failed)
		f.Checks, f.Events = append(f.Checks, c.then...), c.events
		d := doubt(t, f)
		if d.Until != c.want || d.FailedAt != failedAt {
			t.Errorf("%s: until %d h", c.name, d.Until/hour)
		}
		if c.want < math.MaxInt64 {
			standing(t, d, c.want+1, 70, metrology.Trusted, "")
		}
	}
}

func TestBetweenTheFailureAndTheEnd(t *testing.T) {
	t.Parallel()
	two := func(e float64) []metrology.Point { return []metrology.Point{shown(60, e, 0), shown(80, e, 0)} }
	f := facts(check(0, two(0)...), check(10*hour, two(2)...))
	f.Events = []metrology.Event{{At: 12 * hour, Kind: metrology.RemovedFromUse}}
	d := doubt(t, f)
	known(t, d, 10*hour, 70)
	standing(t, d, 11*hour, 70, metrology.Unknown, "no as-found value was taken since")

	f.Checks = append(f.Checks, check(14*hour, two(2.5)...))
	d = doubt(t, f)
	if b := known(t, d, 11*hour, 70); !near(b.Lo, 2) || !near(b.Hi, 2.5) || !near(b.Old, 2.5) || !near(b.Found, 2) {
		t.Errorf("%+v", b)
	}

	f.Checks[1].LeftUnknown = true
	standing(t, doubt(t, f), 11*hour, 70, metrology.Unknown, "how it was left")
	f.Checks[1].LeftUnknown = false
	f.Events = append(f.Events, metrology.Event{At: 13 * hour, Kind: metrology.Repaired})
	standing(t, doubt(t, f), 11*hour, 70, metrology.Unknown, "repaired")

	// Never taken out: known up to the last as-found value, unknown after it.
	f.Events = nil
	d = doubt(t, f)
	known(t, d, 14*hour, 70)
	standing(t, d, 14*hour+1, 70, metrology.Unknown, "no as-found value since")
}

func TestReturnedToUseIsSaid(t *testing.T) {
	t.Parallel()
	f := facts(check(0, shown(70, 0, 0)), check(hour, shown(70, 2, 0)))
	f.Events = []metrology.Event{{At: 2 * hour, Kind: metrology.RemovedFromUse}, {At: 3 * hour, Kind: metrology.ReturnedToUse}}
	noted(t, doubt(t, f), "came back into use")
}

func TestStuckInstrument(t *testing.T) {
	t.Parallel()
	// Shows 50 in ice and in boiling water: at 50 the truth may be anything
	// between, and elsewhere nobody knows.
	f := facts(check(0, shown(0, 0, 0), shown(100, 0, 0)), check(hour, at(0, 50, 0), at(100, -50, 0)))
	d := doubt(t, f)
	if b := known(t, d, hour, 50.0000005); b.Lo > -0.1 || b.Hi < 0 {
		t.Errorf("%+v", b)
	}
	for _, x := range []unit.Celsius{49, 51} {
		standing(t, d, hour, x, metrology.Unknown, "beyond the points")
	}
}
