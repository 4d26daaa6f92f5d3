package impact

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func anyFacts(t *rapid.T) Facts {
	flagged := rapid.Bool()
	number := rapid.Ptr(rapid.Float64Range(0, 1), true)
	return Facts{
		Verdict:           rapid.SampledFrom([]string{met, indeterminate, missed, unknown}).Draw(t, "verdict"),
		MissedAsRecorded:  flagged.Draw(t, "missed as recorded"),
		ProbabilityMissed: number.Draw(t, "probability"),
		Shipped:           flagged.Draw(t, "shipped"),
		ShippedShare:      number.Draw(t, "share"), Consignees: rapid.Ptr(rapid.IntRange(0, 9), true).Draw(t, "consignees"),
		Severity:   rapid.SampledFrom([]Severity{Minor, Moderate, Serious, Fatal, ""}).Draw(t, "severity"),
		ReadyToEat: rapid.Ptr(flagged, true).Draw(t, "rte"), Vulnerable: rapid.Ptr(flagged, true).Draw(t, "vulnerable"),
	}
}

func TestEveryScoreIsInBoundsAndExplained(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a := Score(anyFacts(t))
		product := 100.0
		for _, f := range a.Factors {
			if f.Value < 0 || f.Value > 1 || f.Reason == "" {
				t.Fatalf("factor %+v", f)
			}
			product *= f.Value
		}
		if a.Score < 0 || a.Score > 100 || math.Abs(product-float64(a.Score)) > 0.5+1e-6 {
			t.Fatalf("score %d of a product of %v", a.Score, product)
		}
	})
}

func TestMetScoresNothing(t *testing.T) {
	t.Parallel()
	if a := Score(Facts{Verdict: met, Shipped: true, Severity: Fatal}); a.Score != 0 {
		t.Errorf("met after correction gives %+v, want score 0", a)
	}
}

func TestContradictionsCountAsTheWorse(t *testing.T) {
	t.Parallel()
	for name, f := range map[string]Facts{
		"met but missed as recorded":        {Verdict: met, MissedAsRecorded: true},
		"a foreign verdict":                 {Verdict: "fine"},
		"a probability that is no number":   {Verdict: indeterminate, ProbabilityMissed: new(math.NaN())},
		"a probability that is more than 1": {Verdict: indeterminate, ProbabilityMissed: new(1.1)},
	} {
		if got := Score(f).Factors[1].Value; got != doubtful {
			t.Errorf("%s gives a likelihood of %v, want %v", name, got, doubtful)
		}
	}
	f := Facts{Verdict: missed, Shipped: true, ReadyToEat: new(false), Vulnerable: new(false), ShippedShare: new(-1.0), Consignees: new(0)}
	if got := Score(f).Factors[2].Value; math.Abs(got-(reachBase+reachShipped+reachConsignee*manyConsignees)) > 1e-9 {
		t.Errorf("an impossible share and nobody who received it give a reach of %v", got)
	}
}
