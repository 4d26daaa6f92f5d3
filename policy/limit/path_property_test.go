package limit

import (
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// between two errors for each reading by itself: a bracket that varies.
type varied map[int64]metrology.Bounds

func (v varied) At(at int64, _ unit.Celsius) (metrology.Bounds, metrology.Standing) {
	b, ok := v[at]
	if !ok {
		return metrology.Bounds{}, metrology.Trusted
	}
	return b, metrology.Known
}

func (varied) Reason(int64, unit.Celsius) string { return "" }

// TestVerdictHoldsOnEveryPath: met means that the limit holds on every path of
// the error inside the bracket, each reading with its own; missed that it fails
// on every one. For all kinds (design notes on errors, §3).
func TestVerdictHoldsOnEveryPath(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnLimit(rt)
		s := drawnSeries(rt, l, around, true)
		errs := varied{}
		for _, r := range s.Samples {
			if rapid.IntRange(0, 4).Draw(rt, "trusted") > 0 {
				mid, half := float64(rapid.IntRange(-10, 10).Draw(rt, "mid"))/10, float64(rapid.IntRange(0, 10).Draw(rt, "half"))/10
				k := func(v float64) unit.CelsiusDiff { return unit.CelsiusDiff(v) }
				errs[r.At] = metrology.Bounds{Lo: k(mid - half), Hi: k(mid + half), Old: k(mid - half), Found: k(mid + half)}
			}
		}
		v := evaluate(t, l, s, errs).Verdict
		if v != Met && v != Missed {
			return
		}
		p := s
		p.Samples = append([]series.Sample{}, s.Samples...)
		for range 5 {
			ends := rapid.Bool().Draw(rt, "ends only")
			for i, r := range s.Samples {
				b, ok := errs[r.At]
				if !ok || r.T == unit.Unknown {
					continue
				}
				part := rapid.Float64Range(0, 1).Draw(rt, "part")
				if ends {
					part = float64(rapid.IntRange(0, 1).Draw(rt, "end"))
				}
				e := b.Lo + unit.CelsiusDiff(part)*(b.Hi-b.Lo)
				p.Samples[i].T = r.T - unit.FromComputed(float64(e), -l.Criterion.Harm())
			}
			d := l.Criterion.Judge(p).Decision
			if v == Met && d != Holds || v == Missed && d != Fails {
				rt.Fatalf("%s: %s, but on one path %v", l.Text, v, d)
			}
		}
	})
}

// TestNothingInDoubt: with no doubt the verdict is the record's, whatever the
// kind, and the worst is the record itself.
func TestNothingInDoubt(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnLimit(rt)
		s := drawnSeries(rt, l, around, true)
		r := evaluate(t, l, s, clean)
		want := map[Decision]Verdict{Holds: Met, Fails: Missed, Undecided: Unknown}[l.Criterion.Judge(s).Decision]
		if r.Verdict != want || !same(r.Measure.Recorded, r.Measure.Worst) || !same(r.Measure.Recorded, r.Measure.Corrected) {
			rt.Fatalf("%s: %s, want %s, %+v", l.Text, r.Verdict, want, r.Measure)
		}
		if b, ok := l.Criterion.(between); ok {
			worst, best := b.within(s, s)
			one := l.Criterion.Judge(s)
			if worst.Decision != one.Decision || best.Decision != one.Decision || !same(worst.Value, one.Value) {
				rt.Fatalf("%s: %+v, within %+v to %+v", l.Text, one, worst, best)
			}
		}
	})
}

// TestRepeatedReading: a reading sent twice changes nothing, whatever the kind.
func TestRepeatedReading(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnLimit(rt)
		s := drawnSeries(rt, l, around, true)
		twice := s
		i := rapid.IntRange(0, len(s.Samples)-1).Draw(rt, "which")
		twice.Samples = append(append(append([]series.Sample{}, s.Samples[:i+1]...), s.Samples[i]), s.Samples[i+1:]...)
		a, b := l.Criterion.Judge(s), l.Criterion.Judge(twice)
		if a.Decision != b.Decision || !same(a.Value, b.Value) {
			rt.Fatalf("%s: %v %s, twice %v %s", l.Text, a.Decision, show(a.Value), b.Decision, show(b.Value))
		}
		if _, ok := l.Criterion.(between); ok {
			return // each of the two may have an error of its own, and the paths are more
		}
		old, found, u := drawnErrors(rt)
		errs := bracketOf(old, found, u, c)
		x, y := evaluate(t, l, s, errs), evaluate(t, l, twice, errs)
		if x.Verdict != y.Verdict || !same(x.Headroom, y.Headroom) {
			rt.Fatalf("%s: %s, headroom %s, twice %s, %s", l.Text, x.Verdict, show(x.Headroom), y.Verdict, show(y.Headroom))
		}
	})
}

// TestPointOnTheLine: a reading more, on the straight line between two others,
// changes nothing for the kinds that integrate.
func TestPointOnTheLine(t *testing.T) {
	t.Parallel()
	var integral []drawn
	for _, x := range monotone {
		if x.kind == "lethality" || x.kind == "log_reduction" {
			integral = append(integral, x)
		}
	}
	rapid.Check(t, func(rt *rapid.T) {
		l, around := oneOf(rt, integral)
		s := drawnSeries(rt, l, around, false)
		more := s
		more.Samples = nil
		for i, r := range s.Samples {
			if i > 0 {
				p := s.Samples[i-1] // times are half minutes and temperatures tenths: the middle is exact
				more.Samples = append(more.Samples, series.Sample{At: (p.At + r.At) / 2, T: (p.T + r.T) / 2})
			}
			more.Samples = append(more.Samples, r)
		}
		a, b := l.Criterion.Judge(s), l.Criterion.Judge(more)
		if diff := *a.Value - *b.Value; diff > 1e-9**a.Value || -diff > 1e-9**a.Value {
			rt.Fatalf("%s: %v, with points between %v", l.Text, *a.Value, *b.Value)
		}
	})
}
