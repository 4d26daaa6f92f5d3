package limit

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// drawnGrowth is a growth limit of any form, in C, with the temperature its
// records should lie around. Records are a minute apart, so the models are fast.
func drawnGrowth(t testing.TB, rt *rapid.T) (Limit, float64) {
	x := rapid.SampledFrom([]struct {
		v      values
		around float64
	}{
		{with(aDecade, "b", "0.5", "max_gap", "3m"), 5},
		{with(aDecade, "b", "0.3", "logs", "0.3", "max_gap", "3m"), 1},
		{with(aDecade, "form", "ratkowsky", "c", "0.3", "tmax", "20 C", "b", "0.3", "logs", "0.3", "max_gap", "3m"), 16},
		{with(aDecade, "form", "modified_ratkowsky", "c", "0.3", "tmax", "20 C", "b", "0.3", "logs", "0.3", "max_gap", "3m"), 18},
		{with(peaked, "mu_opt", "40", "max_gap", "3m"), 36},
		{with(peaked, "mu_opt", "40", "max_gap", "3m", "tmin", "35 C", "topt", "37 C", "tmax", "38 C", "logs", "1"), 37},
	}).Draw(rt, "limit")
	return growthLimit(t, x.v), x.around
}

// TestGrowthHeadroomIsTheRoot: shifted by less than its headroom a lot still
// holds, by more it does not, to the millionth or two that the search leaves.
func TestGrowthHeadroomIsTheRoot(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnGrowth(t, rt)
		s := drawnSeries(rt, l, around, true)
		h, ok := l.Criterion.Headroom(s)
		if !ok {
			return
		}
		inside := unit.FromComputed(float64(h), unit.Colder) - 1
		outside := inside + 3
		if d := l.Criterion.Judge(harmed(s, unit.Hotter, inside)).Decision; d == Fails || d != Holds && h >= 0 {
			rt.Fatalf("%s: headroom %v, shifted by %v it is %v", l.Text, h, inside, d)
		}
		if d := l.Criterion.Judge(harmed(s, unit.Hotter, outside)).Decision; d == Holds {
			rt.Fatalf("%s: headroom %v, shifted by %v it still holds", l.Text, h, outside)
		}
		if (h < 0) != (l.Criterion.Judge(s).Decision == Fails) {
			rt.Fatalf("%s: headroom %v, as recorded %v", l.Text, h, l.Criterion.Judge(s).Decision)
		}
		if h <= 0 {
			return
		}
		for i := range 20 { // nothing on the way to the first failure fails
			if d := l.Criterion.Judge(harmed(s, unit.Hotter, inside*unit.Micro(i)/20)).Decision; d != Holds {
				rt.Fatalf("%s: headroom %v, %d twentieths of it: %v", l.Text, h, i, d)
			}
		}
	})
}

// TestGrowthUncertaintyNeverDecides: a wider bracket never makes a verdict met,
// nor missed, that was not; no error inside the bracket contradicts it.
func TestGrowthUncertaintyNeverDecides(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnGrowth(t, rt)
		s := drawnSeries(rt, l, around, true)
		old, found, u := drawnErrors(rt)
		more := float64(rapid.IntRange(0, 20).Draw(rt, "more")) / 10
		narrow := evaluate(t, l, s, bracketOf(old, found, u, c))
		wide := evaluate(t, l, s, bracketOf(old, found, u+more, c))
		if wide.Verdict != narrow.Verdict && (wide.Verdict == Met || wide.Verdict == Missed) {
			rt.Fatalf("%s: %s, with more uncertainty %s", l.Text, narrow.Verdict, wide.Verdict)
		}
		e := min(old, found) - u + rapid.Float64Range(0, 1).Draw(rt, "where")*(math.Abs(old-found)+2*u)
		one := evaluate(t, l, s, bracketOf(e, e, 0, c))
		if narrow.Verdict == Met && one.Verdict != Met || narrow.Verdict == Missed && one.Verdict != Missed {
			rt.Fatalf("%s: %s, with the error %v alone %s", l.Text, narrow.Verdict, e, one.Verdict)
		}
	})
}

// TestGrowthAlongAnyPath: whatever the error did from reading to reading inside
// its bracket, a limit that is met stays met and one that is missed stays
// missed.
func TestGrowthAlongAnyPath(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnGrowth(t, rt)
		s := drawnSeries(rt, l, around, true)
		old, found, u := drawnErrors(rt)
		r := evaluate(t, l, s, bracketOf(old, found, u, c))
		path := s
		path.Samples = append([]series.Sample{}, s.Samples...)
		lo, hi := min(old, found)-u, max(old, found)+u
		for i := range path.Samples {
			if path.Samples[i].T != unit.Unknown {
				path.Samples[i].T -= unit.FromFloat(lo+(hi-lo)*rapid.Float64Range(0, 1).Draw(rt, "e"), unit.Hotter)
			}
		}
		d := l.Criterion.Judge(path).Decision
		if r.Verdict == Met && d != Holds || r.Verdict == Missed && d != Fails {
			rt.Fatalf("%s: %s, along a path %v", l.Text, r.Verdict, d)
		}
	})
}

// TestGrowthInFahrenheit: the same lot under the same limit in the other scale.
func TestGrowthInFahrenheit(t *testing.T) {
	t.Parallel()
	inC := growthLimit(t, with(peaked, "mu_opt", "40", "max_gap", "3m", "logs", "2"))
	inF := growthLimit(t, with(peaked, "mu_opt", "40", "max_gap", "3m", "logs", "2", "tmin", "41 F", "topt", "98.6 F", "tmax", "113 F"))
	rapid.Check(t, func(rt *rapid.T) {
		s := drawnSeries(rt, inC, 36, true)
		converted := s
		converted.Scale = f
		converted.Samples = append([]series.Sample{}, s.Samples...)
		for i, r := range s.Samples {
			converted.Samples[i].T = unit.Convert(r.T, c, f, unit.Hotter)
		}
		old, found, u := drawnErrors(rt)
		a, b := evaluate(t, inC, s, bracketOf(old, found, u, c)), evaluate(t, inF, converted, bracketOf(old, found, u, c))
		if a.Verdict != b.Verdict {
			rt.Fatalf("%s in C, %s in F", a.Verdict, b.Verdict)
		}
		if x, y := a.Headroom, b.Headroom; (x == nil) != (y == nil) || x != nil && math.Abs(float64(*x-*y)) > 1e-6 {
			rt.Fatalf("headroom %s in C, %s in F", show(x), show(y))
		}
		if x, y := a.Measure.Worst, b.Measure.Worst; (x == nil) != (y == nil) || x != nil && math.Abs(*x-*y) > 1e-6**x+1e-12 {
			rt.Fatalf("worst %s in C, %s in F", show(x), show(y))
		}
	})
}
