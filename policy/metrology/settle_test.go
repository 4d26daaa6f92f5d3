package metrology_test

import (
	"math"
	"testing"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// What ends a window: instruments and temperatures are invented.

func TestWhatSettlesACheckWithoutAsFound(t *testing.T) {
	t.Parallel()
	const failedAt = 10 * hour
	ice := func(at int64) metrology.Check { return check(at, shown(0, 0, 0)) }
	first := left(at(60, 0, 0), 0.1)
	first.Found = nil
	lost := metrology.Check{At: failedAt, Unusable: true}
	untrusted := metrology.Check{At: failedAt, Points: both(0), Untrusted: "its reference R-2 failed"}
	adjustedFirst := check(failedAt, first)
	leftUnknown := metrology.Check{At: failedAt, Points: []metrology.Point{shown(0, 2, 0)}, LeftUnknown: true}
	for _, c := range []struct {
		name   string
		failed metrology.Check
		then   []metrology.Check
		want   int64
	}{
		{"lost, then good in ice", lost, []metrology.Check{ice(12 * hour)}, math.MaxInt64},
		{"lost, then good where it was", lost, []metrology.Check{check(12*hour, both(0.5)...)}, 12 * hour},
		{"lost, then in ice, then where it was", lost, []metrology.Check{ice(12 * hour), check(13*hour, both(0)...)}, 13 * hour},
		{"lost, then about where it was", lost, []metrology.Check{check(12*hour, shown(62.9, 0, 0), shown(77.1, 0, 0))}, 12 * hour},
		{"lost, then at one of two points", lost, []metrology.Check{check(12*hour, shown(60, 0, 0))}, math.MaxInt64},
		{"its reference fell, then good in ice", untrusted, []metrology.Check{ice(12 * hour)}, math.MaxInt64},
		{"its reference fell, then good where it was", untrusted, []metrology.Check{check(12*hour, both(0)...)}, 12 * hour},
		{"adjusted first, at one of two points", adjustedFirst, nil, math.MaxInt64},
		{"adjusted first, then good in ice", adjustedFirst, []metrology.Check{ice(12 * hour)}, math.MaxInt64},
		{"failed in ice, adjusted, nobody knows how it was left", leftUnknown, []metrology.Check{ice(12 * hour)}, math.MaxInt64},
	} {
		f := facts(append([]metrology.Check{check(0, both(0)...), c.failed}, c.then...)...)
		f.Failed = 1
		if d := doubt(t, f); d.Until != c.want {
			t.Errorf("%s: until %d h, want %d h", c.name, d.Until/hour, c.want/hour)
		} else if _, s := d.At(50*hour, 70); (s == metrology.Trusted) != (c.want < math.MaxInt64) {
			t.Errorf("%s: two days later the standing is %d", c.name, s)
		}
	}
	f := facts(check(0, both(0)...), lost, ice(12*hour))
	f.Failed = 1
	noted(t, doubt(t, f), "no one check since was good at all of what is asked for, 60.0 °C to 80.0 °C")
	// Nothing was ever good: any clear pass is where it starts, at what the check
	// that fell looked at.
	alone := facts(untrusted, ice(12*hour))
	alone.Failed = 0
	if d := doubt(t, alone); d.Until != math.MaxInt64 {
		t.Errorf("fell at 60 and 80 °C, good in ice: until %d h", d.Until/hour)
	}
	alone.Checks[0] = lost
	if d := doubt(t, alone); d.Until != 12*hour {
		t.Errorf("lost and never checked before: until %d h", d.Until/hour)
	}
}

func TestWhatSettlesIncludesWhatFailedSince(t *testing.T) {
	t.Parallel()
	cold := func(at int64, e float64) metrology.Check { return check(at, shown(0, e, 0)) }
	f := facts(check(0, shown(0, 0, 0), shown(70, 0, 0)), cold(10*hour, 2), check(11*hour, shown(70, 2, 0)), cold(12*hour, 0))
	f.Failed = 1
	if d := doubt(t, f); d.Until != math.MaxInt64 {
		t.Errorf("failed in ice, then at 70 °C, good in ice: until %d h", d.Until/hour)
	}
	f.Checks[2] = metrology.Check{At: 11 * hour, Unusable: true}
	if d := doubt(t, f); d.Until != math.MaxInt64 {
		t.Errorf("failed in ice, then lost, good in ice: until %d h", d.Until/hour)
	}
	// Found good and left out of tolerance at 70 °C: ice says nothing of it.
	f = facts(check(0, shown(0, 0, 0), shown(70, 0, 0)),
		check(10*hour, left(at(0, 0, 0), 0), left(at(70, 0, 0), 2)), cold(12*hour, 0))
	f.Failed = 1
	if d := doubt(t, f); d.Until != math.MaxInt64 {
		t.Errorf("left out of tolerance at 70 °C, good in ice: until %d h", d.Until/hour)
	}
}

// An adjustment moves every point: one without an as-left value has none.
func TestAsLeftAtOnePointOnly(t *testing.T) {
	t.Parallel()
	part := func(when int64) metrology.Check { return check(when, left(at(4, -0.8, 0), 0), at(74, 0.4, 0)) }
	f := facts(part(0), check(10*hour, at(4, 0, 0), left(at(74, 1.2, 0), 0)))
	d := doubt(t, f)
	standing(t, d, 5*hour, 74.5, metrology.Unknown, "no check that it clearly passed")
	if after, _, good := d.WindowOver(74, 74); good != -1 || after != math.MinInt64 {
		t.Errorf("at 74 °C: last good %d, since %d", good, after)
	}
	if after, _, good := d.WindowOver(4, 4); good != 0 || after != 0 {
		t.Errorf("at 4 °C, where it has an as-left value: last good %d, since %d", good, after)
	}
	if d.Until != math.MaxInt64 {
		t.Errorf("adjusted at one of two points: settled at %d h", d.Until/hour)
	}
	j := part(0).Judge(celsius(1), metrology.DefaultRule())
	if j.Found != metrology.Pass || j.Left != metrology.Inconclusive || j.Points[0].Left != metrology.Pass ||
		j.Points[1].Left != metrology.Inconclusive || j.Points[1].LeftError != unit.Unknown || j.Reason == "" {
		t.Errorf("%+v", j)
	}
	// Between the two ends of a window nobody knows what it did to the others.
	f = facts(check(0, at(4, 0, 0), at(74, 0, 0)), part(5*hour), check(10*hour, at(4, 0, 0), at(74, 2, 0)))
	standing(t, doubt(t, f), hour, 74.5, metrology.Unknown, "was not recorded")
	// After the failed check, until it was taken out of use, neither.
	f = facts(check(0, at(4, 0, 0), at(74, 0, 0)), check(10*hour, at(4, 0, 0), left(at(74, 2, 0), 0)), check(14*hour, at(4, 0, 0), at(74, 0.2, 0)))
	f.Failed = 1
	d = doubt(t, f)
	standing(t, d, 12*hour, 74.5, metrology.Unknown, "how it was left")
	known(t, d, 5*hour, 75)
	if d.Until != 14*hour {
		t.Errorf("until %d h", d.Until/hour)
	}
}
