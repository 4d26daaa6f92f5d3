package limit

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// TestExposure: two bands by hand, a minute apart.
func TestExposure(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "exposure", values{"bands": "10 C, 20 C, 5m; 20 C, 100 C, 2m", "max_gap": "1m"})
	for _, x := range []struct {
		name      string
		at        []float64
		step      time.Duration
		want      Decision
		low, high float64 // minutes
	}{
		{"never warm", []float64{9, 9, 9}, time.Minute, Holds, 0, 0},
		{"at the lower end counts", []float64{9, 10, 9}, time.Minute, Holds, 2, 0},
		{"an interval counts as a whole if either end is warm", []float64{9, 10, 9, 9}, time.Minute, Holds, 2, 0},
		{"the warmer band counts in the lower too", []float64{9, 20, 15, 15, 9}, time.Minute, Holds, 4, 2},
		{"no relief at the upper end", []float64{15, 20, 20, 15}, time.Minute, Fails, 3, 3},
		{"hotter than all bands counts in every band", []float64{15, 150, 150, 15}, time.Minute, Fails, 3, 3},
		{"cumulative over visits", []float64{10, 10, 10, 9, 9, 10, 10, 9}, time.Minute, Fails, 6, 0},
		{"at its time", []float64{10, 10, 10, 10, 10, 10}, time.Minute, Holds, 5, 0},
		{"over", []float64{10, 10, 10, 10, 10, 10, 10}, time.Minute, Fails, 6, 0},
		{"not interpolated: half a minute of 20 C is a minute", []float64{19.9, 20, 19.9, 19.9}, time.Minute, Holds, 3, 2},
		{"a gap", []float64{9, 9, 9}, time.Hour, Undecided, 0, 0},
		{"alone and warm", []float64{12}, time.Minute, Undecided, 0, 0},
		{"alone and cold", []float64{9}, time.Minute, Holds, 0, 0},
	} {
		s := record(l, x.step, c, x.at...)
		out := l.Criterion.Judge(s)
		if out.Decision != x.want {
			t.Errorf("%s: %v, want %v", x.name, out.Decision, x.want)
		}
		near(t, x.name, *out.Value, max(x.low/5, x.high/2)*100, 1e-9)
		rules := l.Criterion.otherRules(s)
		near(t, x.name+", lower band", *rules[0].value, x.low*60, 0)
		near(t, x.name+", upper band", *rules[1].value, x.high*60, 0)
	}
	over := record(l, time.Minute, c, 10, 10, 10, 10, 10, 10, 10)
	over.Samples = append(over.Samples, series.Sample{At: over.Samples[6].At + 60*minute, T: unit.Unknown})
	r := evaluate(t, l, over, clean)
	if r.Verdict != Missed || !mentions(r, "at or above 10 C for 6m of 5m", "at or above 20 C for 0s of 2m") {
		t.Errorf("over beside a hole: %s, %q", r.Verdict, r.Reasons)
	}
	ends := record(l, time.Minute, c, 10, 10, 10, 10)
	ends.Start, ends.End = start-minute, start+5*minute
	if out := l.Criterion.Judge(ends); out.Decision != Undecided { // the last 2 minutes are a gap
		t.Errorf("stops early: %v", out.Decision)
	}
	ends.End = start + 4*minute
	if out := l.Criterion.Judge(ends); out.Decision != Holds || *out.Value != 100 {
		t.Errorf("covered: %v, %s", out.Decision, show(out.Value))
	}
}

// bruteTotals is the time in each band by its definition.
func bruteTotals(e exposure, s series.Series) []int64 {
	out := make([]int64, len(e.bands))
	for j, b := range e.bands {
		for i := 1; i < len(s.Samples); i++ {
			p, r := s.Samples[i-1], s.Samples[i]
			if p.T != unit.Unknown && r.T != unit.Unknown && r.At-p.At <= e.gap && max(p.T, r.T) >= b.at.Value {
				out[j] += r.At - p.At
			}
		}
	}
	return out
}

func TestExposureIsItsDefinition(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "exposure", values{"bands": "3 C, 4 C, 9m; 4.5 C, 5 C, 6m; 5 C, 6 C, 4m; 7 C, 20 C, 1m", "max_gap": "3m"})
	e := l.Criterion.(exposure)
	rapid.Check(t, func(rt *rapid.T) {
		s := drawnSeries(rt, l, 5, true)
		s.Start, s.End = 0, 0
		got := e.spend(s)
		for j, want := range bruteTotals(e, s) {
			if got[j].time != want {
				rt.Fatalf("band %d: %v, want %v", j, got[j].time, want)
			}
		}
	})
}

func TestExposureHeadroom(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "exposure", values{"bands": "10 C, 20 C, 5m; 20 C, 100 C, 2m", "max_gap": "1m"})
	for _, x := range []struct {
		at   []float64
		want float64
	}{
		{[]float64{8, 8, 8, 8, 8, 8, 8}, 1.999999},    // all six minutes at 10 C
		{[]float64{12, 12, 12, 12}, 7.999999},         // three minutes at 20 C
		{[]float64{12, 12, 12}, math.Inf(1)},          // two minutes are always allowed
		{[]float64{21, 21, 21, 21}, -1.000001},        // a miss: 1 K and a little colder
		{[]float64{9, 9, 9, 9, 9, 9, 9, 9}, 0.999999}, // all seven minutes at 10 C
	} {
		h := float64(l.Criterion.margin(record(l, time.Minute, c, x.at...)))
		if h != x.want && !(math.Abs(h-x.want) < 1e-9) {
			t.Errorf("%v: %v, want %v", x.at, h, x.want)
		}
	}
}

func TestExposureRefused(t *testing.T) {
	t.Parallel()
	refusedAt(t, "exposure", "bands", []refusal{
		{"20 C, 10 C, 5m", "bands[0]", "not-ascending"},
		{"10 C, 20 C, 5m; 19 C, 30 C, 2m", "bands[1]", "not-ascending"},
		{"10 C, 20 C, 5m; 20 C, 30 C, 6m", "bands[1]", "not-descending"},
		{"10 C, 20 C, 0s", "bands[0]", "out-of-range"},
		{"10 C, 70 F, 5m", "bands[0]", "mixed-units"},
		{"10 C, 20 C, 5m; 70 F, 100 F, 2m", "bands[1]", "mixed-units"},
	})
	if got := newLimit(t, "exposure", values{"bands": "10 C, 21.1 C, 5h; 21.1 C, 100 C, 2h", "max_gap": "1h"}).Text; got != "at most 5h from 10 C to 21.1 C, and 2h from 21.1 C to 100 C" {
		t.Error(got)
	}
}
