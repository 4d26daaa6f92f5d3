package limit

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// fixed is one bracket at all times and temperatures.
type fixed metrology.Bounds

func (f fixed) At(int64, unit.Celsius) (metrology.Bounds, metrology.Standing) {
	return metrology.Bounds(f), metrology.Known
}

func (f fixed) Reason(int64, unit.Celsius) string { return "" }

// enumerated is the probability by brute force: every moment of onset on a grid
// that no reading straddles, every common error at the middle of one of many
// equally likely slices, and the plain verdict on each path.
func enumerated(l Limit, s series.Series, old, found, u float64, o Onset, slices int) float64 {
	harm := l.Criterion.Harm()
	less := func(r unit.Micro, e float64) unit.Micro { return r - unit.FromComputed(e, -harm) }
	missed, all := 0, 0
	const step = minute / 2
	for tau := o.After + step; tau <= o.FailedAt; tau += step {
		path := s
		path.Samples = append([]series.Sample{}, s.Samples...)
		for i, r := range path.Samples {
			e := old
			if r.At >= tau {
				e = found
			}
			path.Samples[i].T = less(r.T, e)
		}
		for k := range slices {
			x := 0.0
			if u > 0 {
				x = -math.Sqrt2 * u * math.Erfinv(1-2*(float64(k)+0.5)/float64(slices))
			}
			all++
			if l.Criterion.Judge(harmed(path, harm, unit.Micro(math.Round(x*1e6)))).Decision != Holds {
				// Undecided, a lone reading in the allowance of at most, counts as
				// missed.
				missed++
			}
		}
	}
	return float64(missed) / float64(all)
}

// TestProbabilityAgainstEnumeration covers readings before, in and after the
// window, equal times, and every kind.
func TestProbabilityAgainstEnumeration(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnLimit(rt)
		s := drawnSeries(rt, l, around, false)
		old, found, expanded := drawnErrors(rt)
		half := func(name string, lo, hi int64) int64 { return rapid.Int64Range(lo, hi).Draw(rt, name) * minute / 2 }
		o := Onset{After: start + half("after", -6, 6), FailedAt: 0}
		o.FailedAt = o.After + half("window", 1, 30)
		k := func(d float64) unit.CelsiusDiff { return unit.CelsiusDiff(d) }
		u := expanded / 2
		r, err := l.Evaluate(s, fixed{Lo: k(min(old, found) - expanded), Hi: k(max(old, found) + expanded), Old: k(old), Found: k(found), U: k(u)}, o)
		if err != nil {
			rt.Fatal(err)
		}
		if r.ProbabilityMissed == nil {
			if r.Verdict != Unknown {
				rt.Fatalf("%s and no probability", r.Verdict)
			}
			return
		}
		slices, slack := 200, 0.5/200+1e-9
		if l.Kind == "cooling" {
			slack *= 6 // several pieces, each with two edges that a slice straddles
		}
		if u == 0 {
			slices, slack = 1, 1e-9
		}
		if want := enumerated(l, s, old, found, u, o, slices); math.Abs(*r.ProbabilityMissed-want) > slack {
			rt.Fatalf("%s: P = %v, by enumeration %v", l.Text, *r.ProbabilityMissed, want)
		}
	})
}

// TestManyMoments: with more than 32 moments the probability of a hold is taken
// in groups, never below the exact one and at most one group's share above for
// each group that the verdict changes in.
func TestManyMoments(t *testing.T) {
	t.Parallel()
	for name, e := range map[string]struct{ old, found float64 }{"worse found": {0, 1}, "worse before": {1, 0}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			l := newLimit(t, "hold", values{"at_least": "72 C", "for": "40m", "max_gap": "1m"})
			at := make([]float64, 101)
			for i := range at {
				at[i] = 72.5
			}
			s := record(l, time.Minute, c, at...)
			o := Onset{After: start - minute, FailedAt: start + 110*minute}
			r, err := l.Evaluate(s, fixed{Lo: 0, Hi: 1, Old: unit.CelsiusDiff(e.old), Found: unit.CelsiusDiff(e.found)}, o)
			if err != nil {
				t.Fatal(err)
			}
			want := enumerated(l, s, e.old, e.found, 0, o, 1)
			got := *r.ProbabilityMissed
			if want < 0.1 || want > 0.9 {
				t.Fatalf("the case tells nothing: %v", want)
			}
			if got < want-1e-12 || got > want+5*minute/float64(o.FailedAt-o.After) { // 101 moments, groups of three or four
				t.Errorf("P = %v, exactly %v", got, want)
			}
		})
	}
}

func TestNoWindowNoProbability(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "at_least", values{"temperature": "72 C"})
	s := record(l, time.Minute, c, 75)
	for name, o := range map[string]Onset{"no beginning": {After: math.MinInt64, FailedAt: start}, "no length": {After: start, FailedAt: start}} {
		r, err := l.Evaluate(s, fixed{Hi: 1, Found: 1}, o)
		if err != nil || r.Verdict != Met || r.ProbabilityMissed != nil {
			t.Errorf("%s: %s, probability %s, %v", name, r.Verdict, show(r.ProbabilityMissed), err)
		}
	}
}

// TestProbabilityFallsWithTheReadings: hotter product, less likely a miss
// (design notes on errors, §11, monotone in R).
func TestProbabilityFallsWithTheReadings(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnMonotone(rt)
		s := drawnSeries(rt, l, around, false)
		old, found, u := drawnErrors(rt)
		errs := bracketOf(old, found, u, c)
		better := harmed(s, l.Criterion.Harm(), -unit.Micro(rapid.Int64Range(0, 2_000_000).Draw(rt, "shift")))
		a, b := evaluate(t, l, s, errs).ProbabilityMissed, evaluate(t, l, better, errs).ProbabilityMissed
		if a != nil && b != nil && *b > *a+1e-12 {
			rt.Fatalf("%s: P = %v, and %v with better readings", l.Text, *a, *b)
		}
	})
}
