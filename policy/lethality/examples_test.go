package lethality

import (
	"math"
	"testing"
	"time"

	"lastgood/policy/series"
)

// summary is the row of one example in f0_examples_summary.csv.
func summary(t *testing.T, id string) map[string]string {
	t.Helper()
	for _, r := range table(t, "f0_examples_summary.csv") {
		if r["example_id"] == id {
			return r
		}
	}
	t.Fatalf("f0_examples_summary.csv has no %s", id)
	return nil
}

// TestSteppedExample is F0-04, from memory: a can whose temperature stands still
// for a while and then jumps. Its published 2.64 is the sum of increments that
// were rounded one by one; unrounded rates give 2.656727.
func TestSteppedExample(t *testing.T) {
	t.Parallel()
	s, rows := worked(t, "F0-04")
	var steps series.Series
	for i := range len(s.Samples) - 1 {
		a, b := s.Samples[i], s.Samples[i+1]
		steps.Samples = append(steps.Samples, a, series.Sample{At: b.At, T: a.T})
	}
	r := summary(t, "F0-04")
	m := model(t, r["T_ref_published"]+" C", r["z_published"]+" C", "")
	steps.Scale = m.Scale()
	got := float64(m.Exact(steps, time.Hour))
	if want := number(t, r["F_sum_times_dt_recomputed_min"]); math.Abs(got-want) > 1e-6 { // printed to six decimals
		t.Errorf("F = %.6f, want %.6f", got, want)
	}
	var increments float64
	for _, row := range rows {
		if p := row["increment_published_min"]; p != "" {
			increments += number(t, p)
		}
	}
	if published := number(t, r["F_published_min"]); math.Abs(increments-published) > 0.005 || got <= published {
		t.Errorf("increments add to %.4f and F is %.4f, published %.2f", increments, got, published)
	}
}

// TestRiseAndFall is F0-06: seven readings a minute apart, by both rules that
// sources use. It has no published answer, only two recomputed ones.
func TestRiseAndFall(t *testing.T) {
	t.Parallel()
	s, _ := worked(t, "F0-06")
	r := summary(t, "F0-06")
	m := model(t, r["T_ref_published"]+" C", r["z_published"]+" C", "")
	trapezoid := float64(m.Trapezoid(s, tenMinutes))
	if want := number(t, r["F_trapezoid_recomputed_min"]); math.Abs(trapezoid-want) > 1e-6 {
		t.Errorf("trapezoid = %.6f, want %.6f", trapezoid, want)
	}
	sum, ok := m.SumStep(s, tenMinutes)
	if want := number(t, r["F_sum_times_dt_recomputed_min"]); !ok || math.Abs(float64(sum)-want) > 1e-6 {
		t.Errorf("sum x step = %.6f, %v, want %.6f", sum, ok, want)
	}
	if exact := float64(m.Exact(s, tenMinutes)); exact >= trapezoid {
		t.Errorf("exact %v is not less than the trapezoid %v", exact, trapezoid)
	}
}

// TestExamplesAllUsed: an example that comes to the file is tested or listed.
func TestExamplesAllUsed(t *testing.T) {
	t.Parallel()
	used := map[string]string{
		"F0-01": "TestRetortExample", "F0-02": "TestStressExample", "F0-04": "TestSteppedExample", "F0-06": "TestRiseAndFall",
		"AN-01": "TestRamps", "AN-02": "TestRamps", "AN-03": "TestRamps",
		"F0-05": "not computed: only sums are printed, not the temperatures",
	}
	rows := table(t, "f0_examples_summary.csv")
	for _, r := range rows {
		if used[r["example_id"]] == "" {
			t.Errorf("%s is neither tested nor listed", r["example_id"])
		}
	}
	if len(rows) != len(used) {
		t.Errorf("%d examples in the file, %d listed", len(rows), len(used))
	}
}
