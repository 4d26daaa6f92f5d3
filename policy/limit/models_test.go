package limit

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// TestPublishedModels: one reading a fraction of the window after the last good
// check, minimum 72.0 °C, under every model that the rows have
// (missed_limit_probability.csv: step, linear drift, delayed drift).
func TestPublishedModels(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "at_least", values{"temperature": "72.0 C"})
	rows := published(t, "missed_limit_probability.csv")
	if len(rows) < 20 {
		t.Fatalf("%d rows", len(rows))
	}
	for id, row := range rows {
		var reading, e0, e1, u, fraction float64
		in := strings.NewReplacer(",", " ", "=", " ").Replace(row["inputs"])
		if _, err := fmt.Sscanf(in, "reading %f  e0 %f at last good check  e1 %f as found (reading minus true)  u %f  time fraction f %f", &reading, &e0, &e1, &u, &fraction); err != nil {
			t.Fatal(id, err)
		}
		const window = 1_000_000_000
		s := series.Series{Scale: c, Samples: []series.Sample{l.Sample(start+int64(math.Round(fraction*window)), reading, c)}}
		k := func(d float64) unit.CelsiusDiff { return unit.CelsiusDiff(d) }
		errs := fixed{Lo: k(e0 - 2*u), Hi: k(e1 + 2*u), Old: k(e0), Found: k(e1), U: k(u)}
		want := strings.Split(row["recomputed_value"], ";")
		for i, model := range []string{Sudden, Gradual, Delayed} {
			r, err := l.Evaluate(s, errs, Onset{After: start, FailedAt: start + window, Model: model})
			if err != nil {
				t.Fatal(id, err)
			}
			if r.Probabilities[i].Model != model || *r.ProbabilityMissed != *r.Probabilities[i].Missed {
				t.Errorf("%s: %s is shown first, want %s", id, show(r.ProbabilityMissed), model)
			}
			near(t, id+" "+model, *r.ProbabilityMissed, number(t, want[i]), 1e-9)
		}
		// The last two columns are the two ends: the error as found, as left. A
		// moment known before the reading is the one, after it the other.
		if fraction == 0 || fraction == 1 {
			continue
		}
		at := s.Samples[0].At
		for moment, i := range map[int64]int{at: 3, at + 1: 4} {
			r, err := l.Evaluate(s, errs, Onset{After: start, FailedAt: start + window, Event: moment, Model: Event})
			if err != nil {
				t.Fatal(id, err)
			}
			near(t, id+" event", *r.ProbabilityMissed, number(t, want[i]), 1e-9)
		}
	}
}

// drift reads a section of drift_interval.csv.
func drift(t *testing.T, section string) []map[string]string {
	t.Helper()
	file, err := os.Open("../../testdata/published/metrology/drift_interval.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, r := range rows[1:] {
		if r[0] == section {
			m := map[string]string{}
			for i, v := range r {
				m[rows[0][i]] = v
			}
			out = append(out, m)
		}
	}
	if len(out) == 0 {
		t.Fatalf("no rows of %s", section)
	}
	return out
}

// presence is paths whose chance is the part of the error that is there at one
// moment, so that an average over moments of onset is the mean of that part.
type presence int64

func (p presence) along(g func(int64) float64) float64 { return g(int64(p)) }
func (p presence) sudden() float64                     { return 0 }
func (p presence) ends() (first, last int64)           { return int64(p), int64(p) }

// TestMeanOfDelayedDrift are the rows of section onset_model of
// drift_interval.csv: f + (1 − f)·ln(1 − f).
func TestMeanOfDelayedDrift(t *testing.T) {
	t.Parallel()
	for _, row := range drift(t, "onset_model") {
		var f float64
		if _, err := fmt.Sscanf(row["inputs"], "time fraction f=%f", &f); err != nil {
			t.Fatal(err)
		}
		const window = 1_000_000_000
		got := delayed(presence(start+int64(math.Round(f*window))), Onset{After: start, FailedAt: start + window})
		near(t, row["id"], got, number(t, row["recomputed_value"]), 1e-9)
	}
}

// TestCorrelationTrap are the rows of section correlation_trap of
// drift_interval.csv: all readings share one error, so that more of them do not
// make a miss more likely.
func TestCorrelationTrap(t *testing.T) {
	t.Parallel()
	least := newLimit(t, "at_least", values{"temperature": "72.0 C"})
	for _, row := range drift(t, "correlation_trap") {
		var k int
		if _, err := fmt.Sscanf(row["quantity"], "k=%d", &k); err != nil {
			if _, err := fmt.Sscanf(row["inputs"], "k=%d", &k); err != nil {
				t.Fatal(row["id"], err)
			}
		}
		s := record(least, time.Minute, c, constant(73.5, k)...)
		r, err := least.Evaluate(s, fixed{Lo: 1.1, Hi: 2.1, Old: 1.6, Found: 1.6, U: 0.25}, always)
		if err != nil {
			t.Fatal(err)
		}
		both := strings.Split(row["recomputed_value"], ";")
		for _, l := range r.Probabilities[:3] {
			near(t, row["id"]+" "+l.Model, *l.Missed, number(t, both[0]), 1e-9)
			if k > 1 && math.Abs(*l.Missed-number(t, both[1])) < 0.1 {
				t.Errorf("%s: %s multiplies the chances of the readings", row["id"], l.Model)
			}
		}
	}
}

// TestStudentTail: with few degrees of freedom the common error is Student's t
// (normal_and_t.csv, section student_t_two_sided: t_p(ν) leaves half of 1 − p
// above it).
func TestStudentTail(t *testing.T) {
	t.Parallel()
	file, err := os.Open("../../testdata/published/metrology/normal_and_t.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := map[string]int{}
	for i, name := range rows[0] {
		column[name] = i
	}
	tested := 0
	for _, r := range rows[1:] {
		nu := r[column["nu"]]
		if r[0] != "student_t_two_sided" || strings.HasPrefix(nu, "inf") {
			continue
		}
		p, x := number(t, r[column["p_percent"]])/100, number(t, r[column["recomputed_value"]])
		got := spread{1, number(t, nu)}.tail(unit.CelsiusDiff(x))
		near(t, r[1], got, (1-p)/2, 1e-6)
		tested++
	}
	if tested < 20 {
		t.Errorf("%d rows", tested)
	}
	l := newLimit(t, "at_least", values{"temperature": "72 C"})
	s := record(l, time.Minute, c, 72.5)
	few, err := l.Evaluate(s, fixed{Lo: -1, Hi: 1, U: 0.25, DoF: 4.9}, always)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "two u with 4 degrees of freedom", *few.ProbabilityMissed, spread{1, 4}.tail(2), 1e-12) // cut down to 4
	if normal := (spread{u: 1}).tail(2); *few.ProbabilityMissed < 2*normal {
		t.Errorf("%v, normal %v", *few.ProbabilityMissed, normal)
	}
}

// TestFrontIsAllReadings: for a limit on every reading, the readings that are
// left give what all of them give.
func TestFrontIsAllReadings(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l := newLimit(t, rapid.SampledFrom([]string{"at_least", "at_most"}).Draw(rt, "kind"), values{"temperature": "5 C"})
		s := drawnSeries(rt, l, 5, false)
		errs := varied{}
		for _, r := range s.Samples {
			tenth := func(name string) unit.CelsiusDiff {
				return unit.CelsiusDiff(rapid.IntRange(-10, 10).Draw(rt, name)) / 10
			}
			errs[r.At] = metrology.Bounds{Lo: -2, Hi: 2, Old: tenth("old"), Found: tenth("found"), U: 0.3}
		}
		o := Onset{After: start - 2*minute, FailedAt: start + minute*rapid.Int64Range(1, 20).Draw(rt, "window")}
		b := take(s, errs, l.Criterion)
		fast, slow := b.front(l.Criterion.(every), o), &whole{b, l.Criterion, o, false}
		if x, y := fast.sudden(), slow.sudden(); math.Abs(x-y) > 1e-12 {
			rt.Fatalf("sudden %v, by all readings %v", x, y)
		}
		if x, y := fast.along(o.grown), slow.along(o.grown); math.Abs(x-y) > 1e-5 { // rounded to 1e-6 K
			rt.Fatalf("gradual %v, by all readings %v", x, y)
		}
	})
}

// TestModelsAgainstEnumeration: gradual and event are one path each, and delayed
// is an average over many moments; every kind.
func TestModelsAgainstEnumeration(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnLimit(rt)
		s := drawnSeries(rt, l, around, false)
		old, found, expanded := drawnErrors(rt)
		errs := bracketOf(old, found, expanded, c)
		o := always
		o.FailedAt = s.Samples[len(s.Samples)-1].At + minute*rapid.Int64Range(0, 20).Draw(rt, "after")
		o.Event = o.After + 1 + rapid.Int64Range(0, o.FailedAt-o.After-1).Draw(rt, "event")
		r, err := l.Evaluate(s, errs, o)
		if err != nil {
			rt.Fatal(err)
		}
		if r.Verdict == Unknown {
			if r.Probabilities != nil {
				rt.Fatal("unknown, with probabilities")
			}
			return
		}
		chance := func(g func(at int64) float64) float64 {
			return onPath(l, s, old, found, expanded/2, g)
		}
		slack := 6*0.5/200 + 1e-5
		near := func(i int, want, slack float64) {
			if got := *r.Probabilities[i].Missed; math.Abs(got-want) > slack {
				rt.Fatalf("%s: %s %v, by enumeration %v", l.Text, r.Probabilities[i].Model, got, want)
			}
		}
		if expanded > 0 {
			near(1, chance(o.grown), slack)
			mean := 0.0
			const moments = 100
			for k := range moments {
				tau := (float64(k) + 0.5) / moments
				mean += chance(func(at int64) float64 { return max(0, min(1, (o.grown(at)-tau)/(1-tau))) }) / moments
			}
			near(2, mean, 0.15) // where the chance jumps, a node more or less is seen
		}
		near(3, chance(o.jumped), slack)
	})
}

// onPath is the chance of a miss on one path by many equally likely shifts.
func onPath(l Limit, s series.Series, old, found, u float64, g func(int64) float64) float64 {
	harm := l.Criterion.Harm()
	path := s
	path.Samples = append([]series.Sample{}, s.Samples...)
	for i, r := range path.Samples {
		path.Samples[i].T = r.T - unit.FromComputed(old+g(r.At)*(found-old), -harm)
	}
	slices, missed := 200, 0
	if u == 0 {
		slices = 1
	}
	for k := range slices {
		x := 0.0
		if u > 0 {
			x = -math.Sqrt2 * u * math.Erfinv(1-2*(float64(k)+0.5)/float64(slices))
		}
		if l.Criterion.Judge(harmed(path, harm, unit.Micro(math.Round(x*1e6)))).Decision != Holds {
			missed++
		}
	}
	return float64(missed) / float64(slices)
}

// TestNoModelChangesTheVerdict: a model weights the probability and nothing else.
func TestNoModelChangesTheVerdict(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		l, around := drawnLimit(rt)
		s := drawnSeries(rt, l, around, true)
		old, found, u := drawnErrors(rt)
		errs := bracketOf(old, found, u, c)
		want := evaluate(t, l, s, errs)
		for _, model := range []string{Sudden, Gradual, Delayed, Event} {
			o := always
			o.Model, o.Event = model, start+minute
			r, err := l.Evaluate(s, errs, o)
			if err != nil || r.Verdict != want.Verdict || !same(r.Headroom, want.Headroom) || !same(r.Measure.Worst, want.Measure.Worst) {
				rt.Fatalf("%s: %s is %s, was %s (%v)", l.Text, model, r.Verdict, want.Verdict, err)
			}
		}
	})
}

// TestEventNobodyKnows: without a moment, or with one outside the window, there is
// no probability under that model.
func TestEventNobodyKnows(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "at_least", values{"temperature": "72 C"})
	s := record(l, time.Minute, c, 72.5)
	for moment, known := range map[int64]bool{0: false, always.After: false, always.After + 1: true, always.FailedAt: true, always.FailedAt + 1: false} {
		o := always
		o.Event, o.Model = moment, Event
		r, err := l.Evaluate(s, bracketOf(0, 1, 0.2, c), o)
		if err != nil || (r.ProbabilityMissed != nil) != known || r.Probabilities[0].Missed == nil {
			t.Errorf("at %d: %s, %v", moment, show(r.ProbabilityMissed), err)
		}
	}
	o := Onset{After: math.MinInt64, FailedAt: always.FailedAt, Event: start}
	r, err := l.Evaluate(s, bracketOf(0, 1, 0.2, c), o)
	if err != nil || r.Probabilities[3].Missed == nil || r.Probabilities[0].Missed != nil {
		t.Errorf("a moment known in a window without a beginning: %+v, %v", r.Probabilities, err)
	}
}
