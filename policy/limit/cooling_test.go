package limit

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// at is a record of minutes and degrees: "0 60, 30 50". A "?" is a moment of which
// nothing is known.
func at(t *testing.T, l Limit, text string) series.Series {
	t.Helper()
	s := series.Series{Scale: l.Criterion.Scale()}
	for _, p := range strings.Split(text, ",") {
		f := strings.Fields(p)
		when := start + int64(number(t, f[0])*minute)
		if f[1] == "?" {
			s.Samples = append(s.Samples, series.Sample{At: when, T: unit.Unknown})
			continue
		}
		s.Samples = append(s.Samples, l.Sample(when, number(t, f[1]), s.Scale))
	}
	return s
}

// TestCoolingClock: one stage, by hand.
func TestCoolingClock(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "cooling", values{"stages": "57 C, 21 C, 120m", "max_gap": "60m"})
	for _, x := range []struct {
		name, record string
		want         Decision
		minutes      float64 // of the clock; −1: none can be told
	}{
		{"quick enough", "0 60, 30 57, 60 50, 120 30, 150 20", Holds, 120},
		{"at its time", "0 57, 60 40, 120 20.999999", Holds, 120},
		{"a minute over", "0 57, 60 40, 121 20", Undecided, 121},
		{"a minute over without a gap", "0 57, 60 40, 90 25, 121 20", Fails, 121},
		{"at the lower temperature is not below it", "0 57, 60 40, 120 21, 150 20", Fails, 150},
		{"just below the upper temperature: nothing starts the clock", "0 56.9, 60 40, 120 20", Undecided, -1},
		{"never below the upper temperature", "0 70, 60 65, 120 60", Undecided, -1},
		{"the clock starts at the first way down", "0 57, 30 56, 60 58, 90 40, 120 30, 150 20", Fails, 150},
		{"what was before is no cooling", "0 10, 300 20, 340 60, 360 57, 420 40, 480 20", Holds, 120},
		{"rises again", "0 57, 30 20, 60 22, 90 20", Holds, 90},
		{"rises again too late", "0 57, 30 20, 60 20, 120 20, 150 21, 180 20", Fails, 180},
		{"still warm when the time is over, the end never seen", "0 57, 60 40, 100 30, 121 22", Fails, 121},
		{"the end never seen and time left", "0 57, 60 40, 120 22", Undecided, -1},
		{"a gap on the way", "0 57, 61 20", Undecided, 61},
		{"a gap after the end", "0 57, 30 20, 300 5", Undecided, 30},
		{"a gap, and still warm after it", "0 57, 10 56, 131 40, 140 20", Fails, 140},
		{"a gap in which the clock may have started", "0 57, 61 40, 121 22, 180 22, 181 20", Undecided, 181},
		{"unknown on the way", "0 57, 30 ?, 60 20", Undecided, 60},
		{"unknown before the clock", "0 ?, 30 57, 60 20", Holds, 30},
		{"unknown where it starts, and over however late", "0 57, 10 ?, 20 50, 80 40, 141 22", Fails, 141},
		{"unknown where it starts, and over only if early", "0 57, 10 ?, 20 50, 80 40, 130 22, 140 20", Undecided, 140},
		{"one reading", "0 60", Undecided, -1},
	} {
		t.Run(x.name, func(t *testing.T) {
			t.Parallel()
			s := at(t, l, x.record)
			out := l.Criterion.Judge(s)
			if out.Decision != x.want {
				t.Errorf("%v, want %v", out.Decision, x.want)
			}
			clock := l.Criterion.otherRules(s)[0]
			if (clock.value == nil) != (x.minutes < 0) || clock.value != nil && *clock.value != x.minutes*60 {
				t.Errorf("clock %s s, want %v min", show(clock.value), x.minutes)
			}
			if out.Value != nil && math.Abs(*out.Value-x.minutes/1.2) > 1e-9 {
				t.Errorf("%v %% of two hours, want %v min", *out.Value, x.minutes)
			}
		})
	}
}

// TestCoolingStages: 57 C to 21 C within 2 h and 57 C to 5 C within 6 h in all
// (cold_limits.csv FC-COOL-001, FC-COOL-002). What the first stage leaves of its
// time the second may use; two stages of their own do not lend.
func TestCoolingStages(t *testing.T) {
	t.Parallel()
	inAll := newLimit(t, "cooling", values{"stages": "57 C, 21 C, 2h; 57 C, 5 C, 6h", "max_gap": "60m"})
	apart := newLimit(t, "cooling", values{"stages": "57 C, 21 C, 2h; 21 C, 5 C, 4h", "max_gap": "60m"})
	borrowed := "0 57, 60 20.5, 120 18, 180 15, 240 12, 300 9, 340 5, 359 4.9, 360 4.8"
	for _, x := range []struct {
		l      Limit
		record string
		want   Verdict
	}{
		{inAll, borrowed, Met},
		{apart, "0 57, 30 21, " + strings.TrimPrefix(borrowed, "0 57, "), Missed}, // 5 h 29 min from 21 C
		{inAll, strings.ReplaceAll(borrowed, "340 5, 359 4.9, 360 4.8", "340 5, 360 5, 361 4.9"), Missed},
		{inAll, "0 57, 60 40, 119 21, 121 20, 180 10, 240 4", Missed}, // first stage
		{inAll, "0 57, 60 20, 120 18, 180 15", Unknown},               // second stage not over
	} {
		if r := evaluate(t, x.l, at(t, x.l, x.record), clean); r.Verdict != x.want {
			t.Errorf("%s, %s: %s, want %s, %q", x.l.Text, x.record, r.Verdict, x.want, r.Reasons)
		}
	}
	r := evaluate(t, inAll, at(t, inAll, borrowed), clean)
	if !mentions(r, "as recorded from 57 C to 21 C in 1h, of 2h", "as recorded from 57 C to 5 C in 5h59m, of 6h") {
		t.Errorf("%q", r.Reasons)
	}
	near(t, "share", *r.Measure.Recorded, 100*359./360, 1e-9)
	if r.OtherRules[1].Rule != "time from 57 C to 5 C" || r.OtherRules[1].Unit != "s" || *r.OtherRules[1].Recorded != 359*60 {
		t.Errorf("%+v", r.OtherRules[1])
	}
}

// TestCoolingErrorThatChangesSign: the thermometer read 2 K low at the start and
// 2 K high at the end. Each constant error keeps the clock; that path does not.
func TestCoolingErrorThatChangesSign(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "cooling", values{"stages": "57 C, 21 C, 120m", "max_gap": "60m"})
	s := at(t, l, "0 70, 10 60, 20 58, 30 56, 40 54, 70 45, 100 30, 125 24, 130 22, 135 20, 140 18")
	for e, want := range map[float64]Decision{-2: Holds, 2: Holds, 0: Holds} {
		d := unit.Micro(-e * unit.PerDegree)
		if out := l.Criterion.Judge(harmed(s, unit.Hotter, d)); out.Decision != want {
			t.Errorf("error %v: %v", e, out.Decision)
		}
	}
	r := evaluate(t, l, s, bracketOf(-2, 2, 0, c))
	if r.Verdict != Indeterminate {
		t.Errorf("%s, %q", r.Verdict, r.Reasons)
	}
	near(t, "worst", *r.Measure.Worst, 100*130./120, 1e-9) // from 10 min, were it 56 C at 20, to 140
}

// everyPath calls f with every path through a bracket that a stage can tell from
// the others: each reading at both of its ends and just on either side of the
// upper and the lower temperature.
func everyPath(st stage, cold, hot series.Series, f func(series.Series)) {
	p := cold
	p.Samples = append([]series.Sample{}, cold.Samples...)
	var each func(i int)
	each = func(i int) {
		if i == len(p.Samples) {
			f(p)
			return
		}
		lo, hi := cold.Samples[i].T, hot.Samples[i].T
		for k, v := range []unit.Micro{lo, hi, st.from.Value - 1, st.to.Value} {
			if k == 0 || lo < v && (v < hi || k == 1) {
				p.Samples[i].T = v
				each(i + 1)
			}
		}
	}
	each(0)
}

// TestCoolingWithinIsEveryPath: for one stage the worst and the best over all
// paths are just those of the paths one by one.
func TestCoolingWithinIsEveryPath(t *testing.T) {
	t.Parallel()
	limits := []Limit{
		newLimit(t, "cooling", values{"stages": "6 C, 4 C, 3m", "max_gap": "2m"}),
		newLimit(t, "cooling", values{"stages": "5 C, 4.5 C, 2m", "max_gap": "2m"}),
		newLimit(t, "cooling", values{"stages": "6 C, 3 C, 5m", "max_gap": "20m"}),
	}
	rapid.Check(t, func(rt *rapid.T) {
		l := rapid.SampledFrom(limits).Draw(rt, "limit")
		s := drawnSeries(rt, l, 5, true)
		s.Samples = s.Samples[:min(len(s.Samples), 6)]
		cold, hot := s, s
		cold.Samples, hot.Samples = append([]series.Sample{}, s.Samples...), append([]series.Sample{}, s.Samples...)
		for i, r := range s.Samples {
			if r.T != unit.Unknown {
				w := unit.Micro(rapid.SampledFrom([]int{0, 4, 10, 24}).Draw(rt, "width")) * 100_000
				cold.Samples[i].T, hot.Samples[i].T = r.T-w, r.T+w
			}
		}
		worst, best := Holds, Fails
		everyPath(l.Criterion.(cooling).stages[0], cold, hot, func(p series.Series) {
			d := l.Criterion.Judge(p).Decision
			if standing[d] < standing[worst] {
				worst = d
			}
			if standing[d] > standing[best] {
				best = d
			}
		})
		w, b := l.Criterion.(between).within(cold, hot)
		if w.Decision != worst || b.Decision != best {
			rt.Fatalf("%s: within %v to %v, by paths %v to %v", l.Text, w.Decision, b.Decision, worst, best)
		}
	})
}

// TestCoolingHoldingIsEveryShift: the shifts with which the clocks are kept are
// just those that a look at every tenth says.
func TestCoolingHoldingIsEveryShift(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := oneOf(rt, drawnCooling)
		s := drawnSeries(rt, l, around, true)
		holding := l.Criterion.(pieces).holding(s, allShifts)
		for k := -80; k <= 80; k++ {
			d := unit.Micro(k) * 100_000
			for _, d := range []unit.Micro{d - 1, d, d + 1} {
				in := false
				for _, h := range holding {
					in = in || h.lo <= d && d < h.hi
				}
				if want := l.Criterion.Judge(harmed(s, unit.Hotter, d)).Decision == Holds; in != want {
					rt.Fatalf("%s, shifted by %v: %v, want %v (%v)", l.Text, d, in, want, holding)
				}
			}
		}
	})
}

// TestCoolingHeadroomIsTheFirstFailure: with every smaller shift the clocks are
// kept too.
func TestCoolingHeadroomIsTheFirstFailure(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := oneOf(rt, drawnCooling)
		s := drawnSeries(rt, l, around, false)
		h, ok := l.Criterion.Headroom(s)
		if !ok || h < 0 {
			return
		}
		for d := unit.Micro(0); d.Degrees() <= float64(h); d += 50_000 {
			if out := l.Criterion.Judge(harmed(s, unit.Hotter, d)); out.Decision != Holds {
				rt.Fatalf("%s: headroom %v, shifted by %v it is %v", l.Text, h, d, out.Decision)
			}
		}
	})
}

func TestCoolingHeadroom(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "cooling", values{"stages": "57 C, 21 C, 120m", "max_gap": "60m"})
	s := at(t, l, "0 60, 10 57.5, 20 55, 60 40, 120 21.5, 130 20, 140 16")
	// The clock starts at 10 min and ends at 130. From 1 K on the reading at
	// 130 min is no longer below 21 C; the start moves only from 2 K on.
	h, ok := l.Criterion.Headroom(s)
	if !ok || math.Abs(float64(h)-0.999999) > 1e-9 {
		t.Errorf("headroom %v, %v", h, ok)
	}
	if _, ok := l.Criterion.Headroom(at(t, l, "0 50, 60 40")); ok {
		t.Error("a clock that never started has a headroom")
	}
}

func TestCoolingRefused(t *testing.T) {
	t.Parallel()
	refusedAt(t, "cooling", "stages", []refusal{
		{"21 C, 57 C, 2h", "stages[0]", "not-descending"},
		{"57 C, 57 C, 2h", "stages[0]", "not-descending"},
		{"57 C, 21 C, 2h; 70 F, 41 F, 4h", "stages[1]", "mixed-units"},
		{"57 C, 70 F, 2h", "stages[0]", "mixed-units"},
		{"57 C, 21 C, 0s", "stages[0]", "out-of-range"},
		{"57 C, 2h", "stages[0]", "wrong-type"},
		{"57 C, -300 C, 2h", "stages[0]", "out-of-range"},
		{"57 C, 21 C, -2h", "stages[0]", "out-of-range"},
	})
	if got := newLimit(t, "cooling", values{"stages": "57 C, 21 C, 2h; 57 C, 5 C, 6h", "max_gap": "1h"}).Text; got != "from 57 C to 21 C within 2h, and from 57 C to 5 C within 6h" {
		t.Error(got)
	}
}

// BenchmarkCoolingHolding is one look at all the shifts of a record, as the
// probability takes it for every moment of onset.
func BenchmarkCoolingHolding(b *testing.B) {
	l := newLimit(b, "cooling", values{"stages": "57 C, 21 C, 2h; 57 C, 5 C, 6h", "max_gap": "1m"})
	s := coolingSeries(l, benchReadings, 6*time.Hour)
	p := l.Criterion.(pieces)
	perReading(b, func() { p.holding(s, shifts{-3_000_000, 3_000_000}) })
}
