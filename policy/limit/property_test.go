package limit

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// harmed returns s with all of it d millionths nearer to harm.
func harmed(s series.Series, harm unit.Rounding, d unit.Micro) series.Series {
	out := s
	out.Samples = append([]series.Sample{}, s.Samples...)
	for i := range out.Samples {
		if out.Samples[i].T != unit.Unknown {
			out.Samples[i].T += unit.Micro(harm) * d
		}
	}
	return out
}

// TestHeadroomIsTheRoot: shifted by just less than its headroom a lot still
// holds, by just more it does not. To the millionth for all kinds but
// lethality and log reduction, whose integral is computed in floating point.
func TestHeadroomIsTheRoot(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnLimit(rt)
		s := drawnSeries(rt, l, around, true)
		h, ok := l.Criterion.Headroom(s)
		if !ok {
			return
		}
		inside := unit.FromComputed(float64(h), unit.Colder)
		outside := inside + 1
		if l.Kind == "lethality" || l.Kind == "log_reduction" {
			inside, outside = inside-1, outside+1
		}
		harm := l.Criterion.Harm()
		// A lot that fails beside a hole becomes undecided, not held.
		if d := l.Criterion.Judge(harmed(s, harm, inside)).Decision; d == Fails || d != Holds && h >= 0 {
			rt.Fatalf("%s: headroom %v, shifted by %v it is %v", l.Text, h, inside, d)
		}
		if d := l.Criterion.Judge(harmed(s, harm, outside)).Decision; d == Holds {
			rt.Fatalf("%s: headroom %v, shifted by %v it still holds", l.Text, h, outside)
		}
		if (h < 0) != (l.Criterion.Judge(s).Decision == Fails) {
			rt.Fatalf("%s: headroom %v, as recorded %v", l.Text, h, l.Criterion.Judge(s).Decision)
		}
	})
}

// TestUncertaintyNeverDecides: a wider bracket never makes a verdict met, nor
// missed, that was not (design notes on errors, §11).
func TestUncertaintyNeverDecides(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnLimit(rt)
		s := drawnSeries(rt, l, around, true)
		old, found, u := drawnErrors(rt)
		more := float64(rapid.IntRange(0, 20).Draw(rt, "more")) / 10
		narrow := evaluate(t, l, s, bracketOf(old, found, u, c)).Verdict
		wide := evaluate(t, l, s, bracketOf(old, found, u+more, c)).Verdict
		if wide != narrow && (wide == Met || wide == Missed) {
			rt.Fatalf("%s: %s, with more uncertainty %s", l.Text, narrow, wide)
		}
	})
}

// TestMoreErrorNeverHelps: an error that is more harmful never makes a lot met
// that was not, and never takes a miss back.
func TestMoreErrorNeverHelps(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnMonotone(rt)
		s := drawnSeries(rt, l, around, true)
		old, found, u := drawnErrors(rt)
		d := -float64(l.Criterion.Harm()) * float64(rapid.IntRange(0, 20).Draw(rt, "d")) / 10
		a := evaluate(t, l, s, bracketOf(old, found, u, c))
		b := evaluate(t, l, s, bracketOf(old+d, found+d, u, c))
		if b.Verdict == Met && a.Verdict != Met || a.Verdict == Missed && b.Verdict != Missed {
			rt.Fatalf("%s: %s, with an error %v more %s", l.Text, a.Verdict, d, b.Verdict)
		}
		if pa, pb := a.ProbabilityMissed, b.ProbabilityMissed; pa != nil && pb != nil && *pb < *pa-1e-12 {
			rt.Fatalf("%s: probability %v, with more error %v", l.Text, *pa, *pb)
		}
		if wa, wb := a.WorstError, b.WorstError; wa != nil && wb != nil && *wb < *wa {
			rt.Fatalf("%s: worst error %v, with more error %v", l.Text, *wa, *wb)
		}
	})
}

// TestMoreReadingsNeverHelpEvery: one more reading never makes a minimum met.
func TestMoreReadingsNeverHelpEvery(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "at_least", values{"temperature": "74 C"})
	rapid.Check(t, func(rt *rapid.T) {
		s := drawnSeries(rt, l, 74, true)
		s.Start, s.End = 0, 0
		old, found, u := drawnErrors(rt)
		errs := bracketOf(old, found, u, c)
		less := s
		less.Samples = s.Samples[:len(s.Samples)-1]
		a, b := evaluate(t, l, less, errs), evaluate(t, l, s, errs)
		if len(less.Samples) > 0 && b.Verdict == Met && a.Verdict != Met || a.Verdict == Missed && b.Verdict != Missed {
			rt.Fatalf("%s, with one more reading %s", a.Verdict, b.Verdict)
		}
	})
}

func TestMissedAsRecordedIsNeverMetByAnyError(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnLimit(rt)
		s := drawnSeries(rt, l, around, true)
		old, found, u := drawnErrors(rt)
		r := evaluate(t, l, s, bracketOf(old, found, u, c))
		if r.MissedAsRecorded != (l.Criterion.Judge(s).Decision == Fails) || r.MissedAsRecorded && r.Verdict == Met {
			rt.Fatalf("%s: missed as recorded %v, verdict %s", l.Text, r.MissedAsRecorded, r.Verdict)
		}
		if p := r.ProbabilityMissed; p != nil && (math.IsNaN(*p) || *p < 0 || *p > 1) || (p == nil) != (r.Verdict == Unknown) {
			rt.Fatalf("%s: verdict %s, probability %s", l.Text, r.Verdict, show(p))
		}
	})
}

// TestSwappedErrorsAndMirroredLimits: the bracket does not know which end came
// first, and a maximum is a minimum upside down (design notes on errors, §11).
func TestSwappedErrorsAndMirroredLimits(t *testing.T) {
	t.Parallel()
	low := newLimit(t, "at_least", values{"temperature": "74 C"})
	high := newLimit(t, "at_most", values{"temperature": "-74 C"})
	rapid.Check(t, func(rt *rapid.T) {
		s := drawnSeries(rt, low, 74, true)
		old, found, u := drawnErrors(rt)
		a := evaluate(t, low, s, bracketOf(old, found, u, c))
		if b := evaluate(t, low, s, bracketOf(found, old, u, c)); a.Verdict != b.Verdict {
			rt.Fatalf("%s, with the errors swapped %s", a.Verdict, b.Verdict)
		}
		up := s
		up.Samples = append([]series.Sample{}, s.Samples...)
		for i := range up.Samples {
			if up.Samples[i].T != unit.Unknown {
				up.Samples[i].T *= -1
			}
		}
		b := evaluate(t, high, up, bracketOf(-old, -found, u, c))
		if a.Verdict != b.Verdict || !same(a.Headroom, b.Headroom) || !same(a.WorstError, b.WorstError) || !same(a.ProbabilityMissed, b.ProbabilityMissed) {
			rt.Fatalf("%+v, mirrored %+v", a, b)
		}
	})
}

// TestFahrenheitAndCelsiusAgree: the same lot under the same limit, both written
// in the other scale.
func TestFahrenheitAndCelsiusAgree(t *testing.T) {
	t.Parallel()
	pairs := []struct {
		kind    string
		inC, in values
		around  float64
	}{
		{"at_least", values{"temperature": "75 C"}, values{"temperature": "167 F"}, 75},
		{"at_most", values{"temperature": "5 C", "max_gap": "3m"}, values{"temperature": "41 F", "max_gap": "3m"}, 5},
		{"hold", values{"at_least": "75 C", "for": "3m", "max_gap": "3m"}, values{"at_least": "167 F", "for": "3m", "max_gap": "3m"}, 75},
		{"lethality", values{"reference": "120 C", "z": "10 K", "max_gap": "3m"}, values{"reference": "248 F", "z": "18 F", "max_gap": "3m"}, 118},
		{"dwell_table", values{"table": "75 C, 3m; 80 C, 1m", "max_gap": "3m"}, values{"table": "167 F, 3m; 176 F, 1m", "max_gap": "3m"}, 76},
		{"log_reduction", values{"reference": "70 C", "z": "5 K", "d": "20s", "logs": "6", "max_gap": "3m"}, values{"reference": "158 F", "z": "9 F", "d": "20s", "logs": "6", "max_gap": "3m"}, 69},
		{"exposure", values{"bands": "5 C, 10 C, 4m", "max_gap": "3m"}, values{"bands": "41 F, 50 F, 4m", "max_gap": "3m"}, 5},
		{"cooling", values{"stages": "10 C, 5 C, 4m", "max_gap": "3m"}, values{"stages": "50 F, 41 F, 4m", "max_gap": "3m"}, 7},
	}
	rapid.Check(t, func(rt *rapid.T) {
		p := rapid.SampledFrom(pairs).Draw(rt, "limit")
		lc, lf := newLimit(t, p.kind, p.inC), newLimit(t, p.kind, p.in)
		s := drawnSeries(rt, lc, p.around, true)
		inF := s
		inF.Scale = f
		inF.Samples = append([]series.Sample{}, s.Samples...)
		for i, r := range s.Samples {
			inF.Samples[i].T = unit.Convert(r.T, c, f, lf.Criterion.Harm())
		}
		old, found, u := drawnErrors(rt)
		errs := bracketOf(old, found, u, c)
		a, b := evaluate(t, lc, s, errs), evaluate(t, lf, inF, errs)
		if a.Verdict != b.Verdict {
			rt.Fatalf("%s in C, %s in F", a.Verdict, b.Verdict)
		}
		if a.Headroom != nil && math.Abs(float64(*a.Headroom-*b.Headroom)) > 1e-6 {
			rt.Fatalf("headroom %v in C, %v in F", *a.Headroom, *b.Headroom)
		}
	})
}
