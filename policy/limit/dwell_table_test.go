package limit

import (
	"errors"
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// refusal is rows, and where and by which rule they are refused.
type refusal struct{ rows, at, rule string }

func refusedAt(t *testing.T, kind, name string, list []refusal) {
	t.Helper()
	for _, x := range append(list, refusal{"", name, "missing-parameter"}) {
		v := values{"max_gap": "1m"}
		if x.rows != "" {
			v[name] = x.rows
		}
		_, err := made(kind, v, 0)
		var p *ParameterError
		if !errors.As(err, &p) || p.Parameter != x.at || p.Rule != x.rule || p.Detail == "" {
			t.Errorf("%s %s: %v, want %s at %s", kind, x.rows, err, x.rule, x.at)
		}
	}
	if _, err := made(kind, values{name: list[0].rows}, 0); err == nil {
		t.Errorf("%s without max_gap is accepted", kind)
	}
}

// TestDwellTable: a table by hand, a minute apart.
func TestDwellTable(t *testing.T) {
	t.Parallel()
	l := newLimit(t, "dwell_table", values{"table": "60 C, 4m; 65 C, 2m; 70 C, 0s", "max_gap": "1m"})
	for _, x := range []struct {
		name  string
		at    []float64
		step  time.Duration
		want  Decision
		share float64
	}{
		{"the lowest row", []float64{59, 60, 61, 60, 60, 60, 59}, time.Minute, Holds, 100},
		{"the middle row", []float64{59, 65, 66, 65, 59}, time.Minute, Holds, 100},
		{"at once", []float64{59, 70, 59}, time.Minute, Holds, 100},
		{"between two rows counts as the lower", []float64{64.9, 64.9, 64.9}, time.Minute, Fails, 50},
		{"no summing over rows", []float64{60, 60, 65, 65, 59}, time.Minute, Fails, 75},
		{"the warmer part counts in the lower row", []float64{60, 66, 66, 60, 60}, time.Minute, Holds, 100},
		{"below the lowest row nothing counts", []float64{59.9, 59.9, 59.9, 59.9, 59.9, 59.9}, time.Minute, Fails, 0},
		{"broken", []float64{60, 60, 60, 59, 60, 60, 60}, time.Minute, Fails, 50},
		{"a gap breaks", []float64{60, 60, 60, 60, 60}, time.Hour, Undecided, 0},
		{"at once beside a gap", []float64{60, 70}, time.Hour, Holds, 100},
	} {
		s := record(l, x.step, c, x.at...)
		out := l.Criterion.Judge(s)
		if out.Decision != x.want || math.Abs(*out.Value-x.share) > 1e-9 {
			t.Errorf("%s: %v, %v %%, want %v, %v %%", x.name, out.Decision, *out.Value, x.want, x.share)
		}
	}
	r := evaluate(t, l, record(l, time.Minute, c, 59, 66, 66, 59), clean)
	if r.Verdict != Missed || !mentions(r, "nearest to the row 65 C for 2m: held for 1m, from 2026-03-02T06:01:00Z") {
		t.Errorf("%s, %q", r.Verdict, r.Reasons)
	}
	if r := evaluate(t, l, record(l, time.Minute, c, 50), clean); !mentions(r, "never at 60 C, the lowest row") {
		t.Errorf("%q", r.Reasons)
	}
}

// TestDwellTableIsItsRows: a table is met just where one of its rows is met as a
// hold, and has the headroom of the best of them.
func TestDwellTableIsItsRows(t *testing.T) {
	t.Parallel()
	table := newLimit(t, "dwell_table", values{"table": "71 C, 5m; 72 C, 3m; 73.5 C, 1m; 74 C, 30s", "max_gap": "2m"})
	var rows []Limit
	for _, r := range []values{{"at_least": "71 C", "for": "5m"}, {"at_least": "72 C", "for": "3m"}, {"at_least": "73.5 C", "for": "1m"}, {"at_least": "74 C", "for": "30s"}} {
		r["max_gap"] = "2m"
		rows = append(rows, newLimit(t, "hold", r))
	}
	rapid.Check(t, func(rt *rapid.T) {
		s := drawnSeries(rt, table, 72, true)
		want, margin := Fails, math.Inf(-1)
		share := 0.0
		for _, r := range rows {
			out := r.Criterion.Judge(s)
			if standing[out.Decision] > standing[want] {
				want = out.Decision
			}
			margin = max(margin, float64(r.Criterion.margin(s)))
			if out.Value != nil {
				share = max(share, 100**out.Value/seconds(r.Criterion.(hold).time))
			}
		}
		out := table.Criterion.Judge(s)
		if out.Decision != want {
			rt.Fatalf("%v, by rows %v", out.Decision, want)
		}
		if out.Value != nil && math.Abs(*out.Value-share) > 1e-9 {
			rt.Fatalf("%v %%, by rows %v %%", *out.Value, share)
		}
		if m := float64(table.Criterion.margin(s)); m != margin && !(math.Abs(m-margin) < 1e-9) {
			rt.Fatalf("margin %v, by rows %v", m, margin)
		}
	})
}

func TestDwellTableRefused(t *testing.T) {
	t.Parallel()
	refusedAt(t, "dwell_table", "table", []refusal{
		{"60 C, 4m; 60 C, 2m", "table[1]", "not-ascending"},
		{"60 C, 4m; 59 C, 2m", "table[1]", "not-ascending"},
		{"60 C, 4m; 61 C, 5m", "table[1]", "not-descending"},
		{"60 C, 4m; 150 F, 2m", "table[1]", "mixed-units"},
		{"60 C, 61 C, 4m", "table[0]", "wrong-type"},
	})
	for text, rows := range map[string]string{
		"at least 130 F for 1h52m, or 140 F for 12m, or 158 F for 0s": "130 F, 112m; 140 F, 12m; 158 F, 0s",
		"one row of 5, from 1 C for 5m to 5 C for 1m":                 "1 C, 5m; 2 C, 4m; 3 C, 3m; 4 C, 2m; 5 C, 1m",
		"at least 60 C for 4m, or 61 C for 4m":                        "60 C, 4m; 61 C, 4m", // published tables have equal times
	} {
		if got := newLimit(t, "dwell_table", values{"table": rows, "max_gap": "1m"}).Text; got != text {
			t.Errorf("%s, want %s", got, text)
		}
	}
	many := make([]Row, maxRows+1)
	k, err := Lookup("dwell_table")
	if err != nil {
		t.Fatal(err)
	}
	_, err = k.New("many", Values{Rows: map[string][]Row{"table": many}})
	var p *ParameterError
	if !errors.As(err, &p) || p.Rule != "out-of-range" {
		t.Errorf("%d rows: %v", len(many), err)
	}
}

// TestNoAllocationPerReading: what Judge allocates does not grow with the record.
func TestNoAllocationPerReading(t *testing.T) {
	for _, x := range append(append([]drawn{}, monotone...), drawnCooling...) {
		minutes := 0.0
		if x.kind == "lethality" {
			minutes = 3
		}
		l, err := made(x.kind, x.v, minutes)
		if err != nil {
			t.Fatal(err)
		}
		wavy := make([]float64, 5000)
		for i := range wavy {
			wavy[i] = x.around + 2*math.Sin(float64(i))
		}
		s := record(l, time.Minute, c, wavy...)
		if n := testing.AllocsPerRun(10, func() { l.Criterion.Judge(s) }); n > 4 {
			t.Errorf("%s: %v allocations for 5000 readings", l.Text, n)
		}
	}
}
