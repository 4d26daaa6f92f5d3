package impact

import (
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// The scores here are computed by hand from the weights in score.go, which are
// this project's judgement and have no published source.
func TestScoreByHand(t *testing.T) {
	t.Parallel()
	tests := []struct {
		name  string
		facts Facts
		want  int
		reach string
	}{
		{
			name: "indeterminate in the plant: 100 × 0.75 × 0.31 × 0.4 = 9.3",
			facts: Facts{Verdict: indeterminate, Severity: Serious,
				ReadyToEat: new(true), Vulnerable: new(false), ProbabilityMissed: new(0.31)},
			want: 9, reach: "0.3 for any product + 0.1 ready to eat",
		},
		{
			name: "missed, a quarter shipped to two: 100 × 0.5 × 1 × (0.3 + 0.1 + 0.04) = 22",
			facts: Facts{Verdict: missed, Shipped: true, Severity: Moderate,
				ShippedShare: new(0.25), Consignees: new(2), ReadyToEat: new(false), Vulnerable: new(false)},
			want: 22, reach: "0.3 for any product + 0.1 shipped (0.4 × share 0.25) + 0.04 consignees (0.02 × 2)",
		},
		{
			name:  "nothing known but that it shipped: 100 × 0.75 × 0.9 × 1 = 67.5, a half goes up",
			facts: Facts{Verdict: unknown, Shipped: true},
			want:  68,
			reach: "0.3 for any product + 0.4 shipped, share not known and counted as all + 0.1 consignees not known and counted as many" +
				" + 0.1 ready to eat (not known, counted as yes) + 0.1 vulnerable consumers (not known, counted as yes)",
		},
		{
			name: "the worst there is",
			facts: Facts{Verdict: missed, Shipped: true, Severity: Fatal, ShippedShare: new(1.0), Consignees: new(40),
				ReadyToEat: new(true), Vulnerable: new(true)},
			want:  100,
			reach: "0.3 for any product + 0.4 shipped (0.4 × share 1) + 0.1 consignees (0.02 × 5) + 0.1 ready to eat + 0.1 vulnerable consumers",
		},
		{
			name: "missed as recorded keeps its place: 100 × 1 × 0.9 × 0.3 = 27",
			facts: Facts{Verdict: indeterminate, MissedAsRecorded: true, Severity: Fatal,
				ReadyToEat: new(false), Vulnerable: new(false), ProbabilityMissed: new(0.2)},
			want: 27, reach: "0.3 for any product",
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			a := Score(tt.facts)
			if a.Score != tt.want {
				t.Errorf("score %d, want %d: %+v", a.Score, tt.want, a.Factors)
			}
			if d := cmp.Diff(tt.reach, a.Factors[2].Reason); d != "" {
				t.Errorf("reach (-want +got):\n%s", d)
			}
		})
	}
}

// TestScoreRisesWithEachFact: more severe, more likely, further spread, never a
// lower score.
func TestScoreRisesWithEachFact(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		f.ProbabilityMissed = new(rapid.Float64Range(0, 1).Draw(t, "p"))
		f.ShippedShare = new(rapid.Float64Range(0, 1).Draw(t, "s"))
		g := f
		g.ProbabilityMissed = new(rapid.Float64Range(*f.ProbabilityMissed, 1).Draw(t, "a larger p"))
		g.ShippedShare = new(rapid.Float64Range(*f.ShippedShare, 1).Draw(t, "a larger share"))
		if f.Consignees != nil && *f.Consignees > 0 { // unknown is the most
			g.Consignees = new(*f.Consignees + rapid.IntRange(0, 9).Draw(t, "more consignees"))
		}
		if rapid.Bool().Draw(t, "fatal") {
			g.Severity = Fatal
		}
		if lo, hi := Score(f).Score, Score(g).Score; hi < lo {
			t.Fatalf("score fell from %d to %d", lo, hi)
		}
	})
}
