package limit

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestLogReduction: D 9 s at 70 C and z 6.5 K, by hand.
func TestLogReduction(t *testing.T) {
	t.Parallel()
	v := values{"reference": "70 C", "z": "6.5 K", "d": "9s", "logs": "7", "max_gap": "1m"}
	l := newLimit(t, "log_reduction", v)
	if l.Text != "at least 7 log, D 9s at 70 C, z 6.5 K" {
		t.Error(l.Text)
	}
	for _, x := range []struct {
		at      float64
		seconds int
		logs    float64
		want    Verdict
	}{
		{70, 63, 7, Met}, // 7 × 9 s, exactly at the limit
		{70, 62, 62. / 9, Missed},
		{76.5, 7, 70. / 9, Met}, // a z hotter, ten times as fast
		{63.5, 100, 10. / 9, Missed},
	} {
		r := evaluate(t, l, flat(l, x.at, c, x.seconds), clean)
		near(t, "logs", *r.Measure.Recorded, x.logs, 1e-9)
		if r.Verdict != x.want || r.Measure.Unit != "log10" || *r.Measure.Required != 7 {
			t.Errorf("%v C for %v s: %s, %+v", x.at, x.seconds, r.Verdict, r.Measure)
		}
	}
	r := evaluate(t, l, flat(l, 71, c, 63), bracketOf(0, 1.3, 0, c))
	near(t, "corrected", *r.Measure.Corrected, *r.Measure.Recorded*math.Pow(10, -1.3/6.5), 1e-9) // design notes on errors, §5
	near(t, "headroom", float64(*r.Headroom), 1, 1e-9)
	if r.OtherRules[0].Unit != "log10" || math.Abs(*r.OtherRules[0].Recorded-*r.Measure.Recorded) > 1e-9 {
		t.Errorf("%+v", r.OtherRules)
	}
}

// TestPublishedDecades: every row of equivalents.csv that states a time for a
// number of decades. That time at its temperature, held, is that many log, by the
// row's own numbers to their rounding; what was published rounds further, by no
// more than the row's difference says.
func TestPublishedDecades(t *testing.T) {
	t.Parallel()
	of := func(row map[string]string) (d time.Duration, decades float64) {
		switch kind := row["kind"]; {
		case strings.HasPrefix(kind, "time for 6D"): // 10 min at 90 C for 6 decades
			return 100 * time.Second, 6
		case strings.HasPrefix(kind, "time for 12D"): // 2.4 min at 121.1 C
			return 12 * time.Second, 12
		case strings.HasPrefix(kind, "F for N0=100 to 1e-12"): // D 0.24 min, 14 decades
			return 14400 * time.Millisecond, 14
		case strings.HasPrefix(kind, "F for N0=100 to 1e-5"): // D 1.5 min, 7 decades
			return 90 * time.Second, 7
		}
		return 0, 0
	}
	tested := 0
	for id, row := range published(t, "equivalents.csv") {
		d, decades := of(row)
		if d == 0 {
			continue
		}
		tested++
		l := newLimit(t, "log_reduction", values{
			"reference": row["T_ref_C"] + " C", "z": row["z_C"] + " K", "d": d.String(), "logs": plain(decades), "max_gap": "24h"})
		logs := func(minutes float64) float64 {
			s := record(l, time.Duration(minutes*float64(time.Minute)), c, number(t, row["T_C"]), number(t, row["T_C"]))
			return *evaluate(t, l, s, clean).Measure.Recorded
		}
		minutes := number(t, row["recomputed_value"])
		if got := logs(minutes); math.Abs(got/decades-1) > 1e-5 {
			t.Errorf("%s: %v log in %v min, want %v", id, got, minutes, decades)
		}
		printed, off := number(t, row["published_value"]), math.Abs(number(t, row["difference"]))
		if got := logs(printed); math.Abs(got/decades-1) > off/minutes+1e-5 {
			t.Errorf("%s: %v log in the printed %v min, want %v", id, got, printed, decades)
		}
	}
	if tested < 19 {
		t.Errorf("%d rows", tested)
	}
	row := published(t, "equivalents.csv")["LOGRED-094"] // 10 spores, D 1.5 min, 2.88 min: 0.12 are left
	l := newLimit(t, "log_reduction", values{"reference": "121.1 C", "z": "10 K", "d": "90s", "logs": "1", "max_gap": "24h"})
	s := record(l, time.Duration(number(t, row["t_in_min"])*float64(time.Minute)), c, 121.1, 121.1)
	near(t, "survivors", 10*math.Pow(10, -*evaluate(t, l, s, clean).Measure.Recorded), number(t, row["recomputed_value"]), 1e-7)
}

// TestLogReductionIsLethalityOverD: the same record under a lethality of logs·D
// minutes has the same verdict, headroom and probability.
func TestLogReductionIsLethalityOverD(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		v := values{"reference": "70 C", "z": "6.5 K", "d": "20s", "logs": "6", "max_gap": "3m"}
		w := values{"reference": "70 C", "z": "6.5 K", "max_gap": "3m"}
		if rapid.Bool().Draw(rt, "floor") {
			v["from"], w["from"] = "68 C", "68 C"
		}
		logs := newLimit(t, "log_reduction", v)
		minutes, err := made("lethality", w, 2) // 6 × 20 s
		if err != nil {
			rt.Fatal(err)
		}
		s := drawnSeries(rt, logs, 69, true)
		old, found, u := drawnErrors(rt)
		a, b := evaluate(t, logs, s, bracketOf(old, found, u, c)), evaluate(t, minutes, s, bracketOf(old, found, u, c))
		if a.Verdict != b.Verdict || !same(a.Headroom, b.Headroom) || !same(a.ProbabilityMissed, b.ProbabilityMissed) {
			rt.Fatalf("%+v, as lethality %+v", a, b)
		}
		if a.Measure.Worst != nil && math.Abs(*a.Measure.Worst*20./60-*b.Measure.Worst) > 1e-9 {
			rt.Fatalf("%v log, %v min", *a.Measure.Worst, *b.Measure.Worst)
		}
	})
}
