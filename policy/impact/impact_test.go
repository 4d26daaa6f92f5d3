package impact

import (
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

var update = flag.Bool("update", false, "write the golden files anew")

const golden = "../../testdata/golden/impact_matrix.txt"

// TestMatrix keeps the level of every combination of facts in a file that a
// quality manager can read and that a review sees change.
func TestMatrix(t *testing.T) {
	t.Parallel()
	got := matrix()
	if *update {
		if err := os.WriteFile(golden, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("the matrix differs from %s (-update writes it):\n%s", golden, d)
	}
}

var (
	verdicts   = []string{met, indeterminate, missed, unknown}
	severityIn = []Severity{Minor, Moderate, Serious, Fatal, ""}
	threeWay   = []*bool{new(false), new(true), nil}
)

func matrix() string {
	var b strings.Builder
	b.WriteString(`# Impact levels by policy/impact, over all facts.
# Nine digits: ready to eat no, yes, ? by vulnerable consumers no, yes, ? (no-no first, ?-? last).
# A second nine: the same without a last good check. "as recorded": the readings missed as recorded.
`)
	fmt.Fprintf(&b, "%-14s %-11s %-9s %-8s %-9s %-9s %s\n",
		"verdict", "as recorded", "where", "severity", "levels", "no check", "rules")
	writeRows(&b, false)
	b.WriteString("# The same where all of it went through a later step, proven by a good instrument, that controls the hazard.\n")
	writeRows(&b, true)
	return b.String()
}

func writeRows(b *strings.Builder, killed bool) {
	for _, v := range verdicts {
		for _, recorded := range []bool{false, true} {
			for place := range 4 {
				for _, s := range severityIn {
					b.WriteString(matrixRow(Facts{Verdict: v, MissedAsRecorded: recorded, KillStep: killed,
						ShippedAny: place&1 != 0, InControlAny: place&2 != 0, Severity: s}))
				}
			}
		}
	}
}

func matrixRow(f Facts) string {
	var levels, without strings.Builder
	var rules []string
	seen := map[string]bool{}
	for _, rte := range threeWay {
		for _, vulnerable := range threeWay {
			f.ReadyToEat, f.Vulnerable = rte, vulnerable
			f.NoLastGood = false
			a := Assess(f)
			fmt.Fprint(&levels, a.Level)
			if !seen[a.LevelRule] {
				seen[a.LevelRule] = true
				rules = append(rules, a.LevelRule)
			}
			f.NoLastGood = true
			fmt.Fprint(&without, Assess(f).Level)
		}
	}
	word := map[bool]string{true: "missed", false: "-"}
	severity := string(f.Severity)
	if severity == "" {
		severity = "?"
	}
	return fmt.Sprintf("%-14s %-11s %-9s %-8s %-9s %-9s %s\n", f.Verdict, word[f.MissedAsRecorded],
		where(f), severity, levels.String(), without.String(), strings.Join(rules, ", "))
}

func where(f Facts) string {
	switch {
	case f.ShippedAny && f.InControlAny:
		return "both"
	case f.ShippedAny:
		return "shipped"
	case f.InControlAny:
		return "in plant"
	}
	return "?"
}

func anyFacts(t *rapid.T) Facts {
	flagged := rapid.Bool()
	number := rapid.Ptr(rapid.Float64Range(0, 1), true)
	return Facts{
		Verdict:          rapid.SampledFrom(verdicts).Draw(t, "verdict"),
		MissedAsRecorded: flagged.Draw(t, "missed as recorded"),
		NoLastGood:       flagged.Draw(t, "no last good"),
		ShippedAny:       flagged.Draw(t, "shipped"), InControlAny: flagged.Draw(t, "in control"),
		ShippedShare: number.Draw(t, "share"), Consignees: rapid.IntRange(0, 9).Draw(t, "consignees"),
		Severity:   rapid.SampledFrom(severityIn).Draw(t, "severity"),
		ReadyToEat: rapid.Ptr(flagged, true).Draw(t, "rte"), Vulnerable: rapid.Ptr(flagged, true).Draw(t, "vulnerable"),
		ProbabilityMissed: number.Draw(t, "probability"),
	}
}

func TestLevelIgnoresProbabilityAndShare(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		want := Assess(f).Level
		f.ProbabilityMissed = rapid.Ptr(rapid.Float64Range(0, 1), true).Draw(t, "another probability")
		f.ShippedShare = rapid.Ptr(rapid.Float64Range(0, 1), true).Draw(t, "another share")
		if got := Assess(f).Level; got != want {
			t.Fatalf("level %d, was %d: a number moved it", got, want)
		}
	})
}

func TestEveryAssessmentIsInBoundsAndExplained(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a := Assess(anyFacts(t))
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
		if a.Level < 1 || a.Level > 5 || a.LevelRule == "" || a.LevelReason == "" {
			t.Fatalf("level %+v", a)
		}
	})
}

// TestWorseFactsNeverLookBetter: learning something bad, or knowing less, never
// lowers the level. (Severity is left out on purpose: where the table is silent
// the level is 4, whatever the severity.)
func TestWorseFactsNeverLookBetter(t *testing.T) {
	t.Parallel()
	worsen := map[string]func(*Facts){
		"shipped too":        func(f *Facts) { f.ShippedAny = true },
		"no last good":       func(f *Facts) { f.NoLastGood = true },
		"missed as recorded": func(f *Facts) { f.MissedAsRecorded = true },
		"ready to eat":       func(f *Facts) { f.ReadyToEat = new(true) },
		"vulnerable":         func(f *Facts) { f.Vulnerable = nil },
	}
	for name, change := range worsen {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rapid.Check(t, func(t *rapid.T) {
				f := anyFacts(t)
				before := Assess(f)
				change(&f)
				if after := Assess(f); after.Level < before.Level {
					t.Fatalf("level fell from %d (%s) to %d (%s)", before.Level, before.LevelRule, after.Level, after.LevelRule)
				}
			})
		})
	}
}

func TestMetIsOnlyARecord(t *testing.T) {
	t.Parallel()
	a := Assess(Facts{Verdict: met, NoLastGood: true, ShippedAny: true, Severity: Fatal})
	if a.Level != 1 || a.Score != 0 {
		t.Errorf("met after correction gives %+v, want level 1 and score 0", a)
	}
}

func TestContradictionsCountAsTheWorse(t *testing.T) {
	t.Parallel()
	metButMissed := Assess(Facts{Verdict: met, MissedAsRecorded: true, InControlAny: true, Severity: Serious})
	if metButMissed.Level != 3 {
		t.Errorf("met but missed as recorded: level %d, want 3 as for indeterminate", metButMissed.Level)
	}
	foreign := Assess(Facts{Verdict: "fine", ShippedAny: true, Severity: "bad"})
	if foreign.Level != 5 {
		t.Errorf("foreign words: level %d, want 5 as for unknown and serious", foreign.Level)
	}
	nan := Assess(Facts{Verdict: indeterminate, ProbabilityMissed: new(math.NaN())})
	if nan.Factors[1].Value != doubtful {
		t.Errorf("a probability that is no number gives %v, want %v", nan.Factors[1].Value, doubtful)
	}
}
