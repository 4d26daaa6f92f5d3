package limit

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

func TestRegistry(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"at_least", "at_most", "hold", "dwell_table", "lethality", "log_reduction", "cooling", "exposure", "growth"} {
		if k, err := Lookup(name); err != nil || k.Name != name {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Lookup("coocking"); err == nil || !strings.Contains(err.Error(), "at_least, at_most, hold, dwell_table") {
		t.Errorf("an unknown kind: %v", err)
	}
}

func TestParametersRefused(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		kind, at, rule string
		v              values
	}{
		{"at_least", "temperature", "missing-parameter", values{}},
		{"at_least", "temperature", "out-of-range", values{"temperature": "-300 C"}},
		{"at_least", "max_gap", "out-of-range", values{"temperature": "74 C", "max_gap": "0s"}},
		{"at_least", "max_gap", "out-of-range", values{"temperature": "74 C", "max_gap": "1ns"}},
		{"at_most", "allow.total", "missing-parameter", values{"temperature": "5 C", "max_gap": "1m", "allow.above": "5 C"}},
		{"at_most", "allow.above", "missing-parameter", values{"temperature": "5 C", "max_gap": "1m", "allow.total": "30m"}},
		{"at_most", "max_gap", "missing-parameter", values{"temperature": "5 C", "allow.above": "5 C", "allow.total": "30m"}},
		{"at_most", "allow.above", "not-supported", values{"temperature": "5 C", "max_gap": "1m", "allow.above": "7 C", "allow.total": "30m"}},
		{"hold", "at_least", "missing-parameter", values{"for": "15s", "max_gap": "2s"}},
		{"hold", "at_most", "too-many-parameters", values{"at_least": "1 C", "at_most": "2 C", "for": "15s", "max_gap": "2s"}},
		{"hold", "for", "missing-parameter", values{"at_least": "1 C", "max_gap": "2s"}},
		{"hold", "max_gap", "missing-parameter", values{"at_least": "1 C", "for": "15s"}},
		{"lethality", "z", "missing-parameter", values{"reference": "121.1 C", "max_gap": "1m"}},
		{"lethality", "z", "out-of-range", values{"reference": "121.1 C", "max_gap": "1m", "z": "0.5 K"}},
		{"lethality", "max_gap", "missing-parameter", values{"reference": "121.1 C", "z": "10 K"}},
	} {
		_, err := made(x.kind, x.v, 3)
		var p *ParameterError
		if !errors.As(err, &p) || p.Parameter != x.at || p.Rule != x.rule || !strings.HasPrefix(p.Error(), x.at+": ") {
			t.Errorf("%s %v: %v, want %s at %s", x.kind, x.v, err, x.rule, x.at)
		}
	}
	if _, err := made("lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "1m"}, -1); err == nil {
		t.Error("negative minutes are accepted")
	}
}

func TestTextForPeople(t *testing.T) {
	t.Parallel()
	for want, l := range map[string]Limit{
		"at least 165 F":                              newLimit(t, "at_least", values{"temperature": "165 F"}),
		"at most 5 C":                                 newLimit(t, "at_most", values{"temperature": "5 C"}),
		"at most 5 C, but for 30m in all":             newLimit(t, "at_most", values{"temperature": "5 C", "max_gap": "1m", "allow.above": "41 F", "allow.total": "30m"}),
		"at least 72 C for 15s":                       newLimit(t, "hold", values{"at_least": "72 C", "for": "15s", "max_gap": "2s"}),
		"at most -20 C for 168h":                      newLimit(t, "hold", values{"at_most": "-20 C", "for": "168h", "max_gap": "2h"}),
		"at least 72 C for 1m10s":                     newLimit(t, "hold", values{"at_least": "72 C", "for": "70s", "max_gap": "2s"}),
		"at least 3 min at 121.1 C, z 10 K":           newLimit(t, "lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "1m"}),
		"at least 3 min at 250 F, z 18 F, from 212 F": newLimit(t, "lethality", values{"reference": "250 F", "z": "18 F", "from": "212 F", "max_gap": "1m"}),
	} {
		if l.Text != want {
			t.Errorf("%q, want %q", l.Text, want)
		}
	}
}

// TestJudge is every rule of the kinds on plain series, a minute apart unless
// the name says otherwise.
func TestJudge(t *testing.T) {
	t.Parallel()
	na := math.NaN()
	least := values{"temperature": "74 C"}
	leastGap := values{"temperature": "74 C", "max_gap": "1m"}
	allow := values{"temperature": "5 C", "max_gap": "1m", "allow.above": "5 C", "allow.total": "2m"}
	held := values{"at_least": "72 C", "for": "3m", "max_gap": "1m"}
	cold := values{"at_most": "-20 C", "for": "3m", "max_gap": "1m"}
	for _, x := range []struct {
		name, kind string
		v          values
		at         []float64
		step       time.Duration
		want       Decision
		value      float64
	}{
		{"every one", "at_least", least, []float64{75, 74, 80}, time.Minute, Holds, 74},
		{"one below", "at_least", least, []float64{75, 73.9, 80}, time.Minute, Fails, 73.9},
		{"unknown leaves it open", "at_least", least, []float64{75, na}, time.Minute, Undecided, na},
		{"unknown beside a miss", "at_least", least, []float64{70, na}, time.Minute, Fails, na},
		{"gaps do not matter", "at_least", least, []float64{75, 75}, time.Hour, Holds, 75},
		{"a gap", "at_least", leastGap, []float64{75, 75}, time.Hour, Undecided, 75},
		{"no gap at its length", "at_least", leastGap, []float64{75, 75}, time.Minute, Holds, 75},
		{"a gap beside a miss", "at_least", leastGap, []float64{75, 70}, time.Hour, Fails, 70},

		{"never above", "at_most", allow, []float64{5, 4, 5}, time.Minute, Holds, 0},
		{"one above counts both neighbours", "at_most", allow, []float64{4, 6, 4}, time.Minute, Holds, 120},
		{"two above", "at_most", allow, []float64{4, 6, 6, 4}, time.Minute, Fails, 180},
		{"above at the end", "at_most", allow, []float64{4, 4, 6}, time.Minute, Holds, 60},
		{"above at the start", "at_most", allow, []float64{6, 4, 4}, time.Minute, Holds, 60},
		{"alone and above", "at_most", allow, []float64{6}, time.Minute, Undecided, 0},
		{"alone and below", "at_most", allow, []float64{5}, time.Minute, Holds, 0},
		{"above in a gap", "at_most", allow, []float64{6, 6}, time.Hour, Undecided, 0},
		{"above beside unknown", "at_most", allow, []float64{4, 6, na, 4}, time.Minute, Undecided, na},
		{"enough above beside unknown", "at_most", allow, []float64{6, 6, 6, 6, na}, time.Minute, Fails, na},

		{"first to last", "hold", held, []float64{70, 72, 73, 72, 72, 70}, time.Minute, Holds, 180},
		{"not interpolated", "hold", held, []float64{70, 74, 74, 74, 70}, time.Minute, Fails, 120},
		{"broken", "hold", held, []float64{72, 72, 71.9, 72, 72}, time.Minute, Fails, 60},
		{"broken by unknown", "hold", held, []float64{72, 72, na, 72, 72}, time.Minute, Undecided, 60},
		{"long enough beside unknown", "hold", held, []float64{72, 72, 72, 72, na}, time.Minute, Holds, 180},
		{"gaps", "hold", held, []float64{72, 72, 72, 72}, time.Hour, Undecided, 0},
		{"one reading", "hold", held, []float64{90}, time.Minute, Fails, 0},
		{"cold enough", "hold", cold, []float64{-20, -21, -20, -22}, time.Minute, Holds, 180},
		{"once too warm", "hold", cold, []float64{-20, -19.9, -20, -22}, time.Minute, Fails, 60},
	} {
		t.Run(x.name, func(t *testing.T) {
			t.Parallel()
			l := newLimit(t, x.kind, x.v)
			s := series.Series{Scale: c}
			for i, d := range x.at {
				r := series.Sample{At: start + int64(i)*x.step.Microseconds(), T: unit.Unknown}
				if !math.IsNaN(d) {
					r.T = unit.FromFloat(d, l.Criterion.Harm())
				}
				s.Samples = append(s.Samples, r)
			}
			out := l.Criterion.Judge(s)
			if out.Decision != x.want {
				t.Errorf("%v, want %v", out.Decision, x.want)
			}
			if (out.Value == nil) != math.IsNaN(x.value) || out.Value != nil && math.Abs(*out.Value-x.value) > 1e-9 {
				t.Errorf("value %s, want %v", show(out.Value), x.value)
			}
		})
	}
}

// TestEndsOfTheLot: gaps include the lot's start and end, where they are known.
func TestEndsOfTheLot(t *testing.T) {
	t.Parallel()
	least := newLimit(t, "at_least", values{"temperature": "74 C", "max_gap": "1m"})
	held := newLimit(t, "hold", values{"at_least": "74 C", "for": "5m", "max_gap": "1m"})
	heat := newLimit(t, "lethality", values{"reference": "74 C", "z": "10 K", "max_gap": "1m"})
	allow := newLimit(t, "at_most", values{"temperature": "70 C", "max_gap": "1m", "allow.above": "70 C", "allow.total": "2m"})
	for _, x := range []struct {
		name       string
		l          Limit
		start, end int64
		want       Verdict
	}{
		{"nothing known", least, 0, 0, Met},
		{"covered", least, start - minute, start + 2*minute, Met},
		{"starts late", least, start - minute - 1, 0, Unknown},
		{"stops early", least, 0, start + 2*minute + 1, Unknown},
		{"hold falls short", held, 0, 0, Missed},
		{"hold falls short, stops early", held, 0, start + 3*minute, Unknown},
		{"lethality falls short", heat, 0, 0, Missed},
		{"lethality falls short, starts late", heat, start - 5*minute, 0, Unknown},
		{"above for the one minute", allow, 0, 0, Met},
		{"above to both ends", allow, start - minute, start + 2*minute, Missed},
	} {
		s := record(x.l, time.Minute, c, 74, 74)
		s.Start, s.End = x.start, x.end
		if r := evaluate(t, x.l, s, clean); r.Verdict != x.want {
			t.Errorf("%s: %s, want %s (%q)", x.name, r.Verdict, x.want, r.Reasons)
		}
	}
	s := record(least, time.Minute, c, 74, 74)
	s.End = start + 60*minute
	r := evaluate(t, least, s, clean)
	if !mentions(r, "1 gap longer than 1m: 59m from 2026-03-02T06:01:00Z to 2026-03-02T07:00:00Z") {
		t.Errorf("%q", r.Reasons)
	}
}

// TestMilk: 161 °F for 15 s is the published pair (pasteurization.csv PMO-002,
// CFR131-024). A run at 161.6 °F for 16 s meets it (common practice).
func TestMilk(t *testing.T) {
	t.Parallel()
	rows := pasteurization(t)
	for _, id := range []string{"PMO-002", "CFR131-024"} {
		p := rows[id]
		l := newLimit(t, "hold", values{"at_least": p["temp_F"] + " F", "for": p["hold_s"] + "s", "max_gap": "2s"})
		for _, x := range []struct {
			degrees float64
			seconds int
			want    Verdict
		}{
			{161.6, 16, Met}, {161.0, 15, Met}, {161.0, 14, Missed}, {160.9, 30, Missed},
		} {
			if r := evaluate(t, l, flat(l, x.degrees, f, x.seconds), clean); r.Verdict != x.want {
				t.Errorf("%s: %v F for %d s: %s, want %s", id, x.degrees, x.seconds, r.Verdict, x.want)
			}
		}
	}
	// EU853-029 is 72 °C for 15 s: 161.6 °F meets it exactly, 161 °F does not.
	eu := newLimit(t, "hold", values{"at_least": rows["EU853-029"]["temp_C"] + " C", "for": rows["EU853-029"]["hold_s"] + "s", "max_gap": "2s"})
	for degrees, want := range map[float64]Verdict{161.6: Met, 161: Missed} {
		if r := evaluate(t, eu, flat(eu, degrees, f, 16), clean); r.Verdict != want {
			t.Errorf("EU853-029: %v F: %s, want %s", degrees, r.Verdict, want)
		}
	}
}

// flat is one reading a second.
func flat(l Limit, degrees float64, scale unit.Scale, seconds int) series.Series {
	at := make([]float64, seconds+1)
	for i := range at {
		at[i] = degrees
	}
	return record(l, time.Second, scale, at...)
}

func pasteurization(t *testing.T) map[string]map[string]string {
	t.Helper()
	return published(t, "pasteurization.csv")
}

// published reads a file of published values as rows by id.
func published(t *testing.T, name string) map[string]map[string]string {
	t.Helper()
	file, err := os.Open("../../testdata/published/thermal/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]map[string]string{}
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, v := range r {
			m[rows[0][i]] = v
		}
		out[m["id"]] = m
	}
	return out
}

// TestRetortLimit: the record of F0-01 earned 21.69 minutes by its own rule,
// against the 10 its source asks for (f0_examples_summary.csv F0-01).
func TestRetortLimit(t *testing.T) {
	t.Parallel()
	l, err := made("lethality", values{"reference": "250 F", "z": "18 F", "max_gap": "5m"}, 10)
	if err != nil {
		t.Fatal(err)
	}
	// f0_worked_examples.csv F0-01, temp_published
	s := record(l, 5*time.Minute, f, 140, 140, 140, 140, 163, 185, 201, 213, 224, 229.4, 234.5, 238, 241, 243.5, 245, 246.3, 247.3, 247, 245.2, 223.5, 175, 153)
	r := evaluate(t, l, s, bracketOf(0, 3, 1, f))
	if len(r.OtherRules) != 2 || r.OtherRules[0].Rule != "trapezoid" || r.OtherRules[1].Rule != "sum x step" {
		t.Fatalf("%+v", r.OtherRules)
	}
	near(t, "sum x step", *r.OtherRules[1].Recorded, 21.68993687, 1e-8) // F_published_min
	near(t, "trapezoid", *r.OtherRules[0].Recorded, 21.689925, 5e-7)    // F_trapezoid_recomputed_min
	if *r.Measure.Recorded > *r.OtherRules[0].Recorded {
		t.Errorf("the exact rule earned %v, more than the trapezoid", *r.Measure.Recorded)
	}
	// An error of 3 °F, a sixth of z, leaves 10^(−3/18) of it (design notes on errors, §5).
	near(t, "corrected", *r.Measure.Corrected, *r.Measure.Recorded*math.Pow(10, -3./18), 1e-9)
	near(t, "worst", *r.Measure.Worst, *r.Measure.Recorded*math.Pow(10, -4./18), 1e-9)
	near(t, "trapezoid corrected", *r.OtherRules[0].Corrected, *r.OtherRules[0].Recorded*math.Pow(10, -3./18), 1e-9)
	near(t, "headroom", float64(*r.Headroom), 10*math.Log10(*r.Measure.Recorded/10), 1e-9)
	if r.Verdict != Met || r.Measure.Unit != "min" { // 10^(−4/18) of 21.5 is 12.9, more than 10
		t.Errorf("%s, %+v", r.Verdict, r.Measure)
	}
}

func near(t *testing.T, name string, got, want, slack float64) {
	t.Helper()
	if math.Abs(got-want) > slack {
		t.Errorf("%s = %v, want %v", name, got, want)
	}
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// TestWhereTheInstrumentMustBeGood: at the bound, or where heat is earned.
func TestWhereTheInstrumentMustBeGood(t *testing.T) {
	t.Parallel()
	for want, l := range map[unit.Celsius]Limit{
		5:     newLimit(t, "at_most", values{"temperature": "41 F"}),
		72:    newLimit(t, "hold", values{"at_least": "72 C", "for": "15s", "max_gap": "2s"}),
		121.1: newLimit(t, "lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "1m"}),
	} {
		if got := l.Criterion.Temperatures(); len(got) != 1 || got[0] != want {
			t.Errorf("%s: %v", l.Text, got)
		}
	}
}

// TestSpans: the indicated temperatures at which an error can hide a miss, 20 K
// being as far as an error is thought to reach (a judgement of this engine).
func TestSpans(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		kind       string
		v          values
		lo, hi     unit.Celsius
		goodAround []unit.Celsius
	}{
		{"at_least", values{"temperature": "74 C"}, 74, 94, []unit.Celsius{74}},
		{"at_most", values{"temperature": "5 C"}, -15, 5, []unit.Celsius{5}},
		{"dwell_table", values{"table": "54 C, 112m; 60 C, 12m; 70 C, 0s", "max_gap": "1m"}, 54, 90, []unit.Celsius{54, 70}},
		{"lethality", values{"reference": "121 C", "z": "10 K", "max_gap": "1m"}, 101, unit.MaxDegrees, []unit.Celsius{121}},
		{"cooling", values{"stages": "57 C, 21 C, 2h; 57 C, 5 C, 6h", "max_gap": "1m"}, -15, 77, []unit.Celsius{57, 21, 57, 5}},
		{"exposure", values{"bands": "10 C, 21 C, 5h; 21 C, 100 C, 2h", "max_gap": "1m"}, -10, 21, []unit.Celsius{10, 21}},
	} {
		crit := newLimit(t, x.kind, x.v).Criterion
		if lo, hi := crit.Span(); lo != x.lo || hi != x.hi || !slices.Equal(crit.Temperatures(), x.goodAround) {
			t.Errorf("%s: from %v to %v, good at %v", x.kind, lo, hi, crit.Temperatures())
		}
	}
}

func TestInForce(t *testing.T) {
	t.Parallel()
	from, until := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC), time.Date(2026, 7, 1, 0, 0, 0, 0, time.UTC)
	l := Limit{ValidFrom: &from, ValidUntil: &until}
	for at, want := range map[time.Time]bool{from.Add(-1): false, from: true, until.Add(-1): true, until: false} {
		if l.InForce(at) != want || !(Limit{}).InForce(at) {
			t.Errorf("%s: %v", at, l.InForce(at))
		}
	}
}
