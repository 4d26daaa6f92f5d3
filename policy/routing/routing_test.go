package routing

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"lastgood/policy/impact"
)

var update = flag.Bool("update", false, "write the golden files anew")

const golden = "../../testdata/golden/routing_matrix.txt"

var (
	verdicts   = []string{"met", "indeterminate", "missed", "unknown"}
	kinds      = []string{"at_least", "at_most", "hold", "dwell_table", "lethality", "log_reduction", "cooling", "exposure", "growth", ""}
	severities = []impact.Severity{impact.Minor, impact.Moderate, impact.Serious, impact.Fatal, ""}
)

// TestMatrix keeps the route of every combination of facts in a file that a
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

func matrix() string {
	var b strings.Builder
	b.WriteString("# Routes by policy/routing, over all facts. Severity: lesser is minor or moderate, grave is the rest.\n")
	fmt.Fprintf(&b, "%-14s %-9s %-14s %-9s %s\n", "verdict", "where", "kind", "severity", "route (rule)")
	for _, v := range verdicts {
		for place := range 4 {
			for _, k := range kinds {
				f := Facts{Verdict: v, Shipped: place&1 != 0, InControl: place&2 != 0, Kind: k}
				f.Severity = impact.Minor
				row(&b, f, "lesser")
				f.Severity = impact.Serious
				row(&b, f, "grave")
			}
		}
	}
	b.WriteString("\n# The same where all of it went through a later step that controls the hazard.\n")
	for _, v := range verdicts {
		for place := range 4 {
			row(&b, Facts{Verdict: v, Shipped: place&1 != 0, InControl: place&2 != 0, Kind: "at_least", KillStep: true}, "grave")
		}
	}
	b.WriteString("\n# Signers by level, for a lot that is held, and where a process authority is needed.\n")
	for level := range 6 {
		fmt.Fprintf(&b, "%d  %-50s %s\n", level,
			strings.Join(signers(Facts{Level: level}, HoldAndRetest), ", "),
			strings.Join(signers(Facts{Level: level, Kind: "lethality"}, RecallReview), ", "))
	}
	return b.String()
}

func row(b *strings.Builder, f Facts, severity string) {
	where := []string{"?", "shipped", "in plant", "both"}[btoi(f.Shipped)+2*btoi(f.InControl)]
	kind := f.Kind
	if kind == "" {
		kind = "?"
	}
	d := Default(f)
	fmt.Fprintf(b, "%-14s %-9s %-14s %-9s %s (%s)\n", f.Verdict, where, kind, severity, d.Route, d.Rule)
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

func anyFacts(t *rapid.T) Facts {
	return Facts{
		Level:            rapid.IntRange(-1, 7).Draw(t, "level"),
		Verdict:          rapid.SampledFrom(append(verdicts, "", "fine")).Draw(t, "verdict"),
		MissedAsRecorded: rapid.Bool().Draw(t, "as recorded"), KillStep: rapid.Bool().Draw(t, "kill step"),
		Shipped: rapid.Bool().Draw(t, "shipped"), InControl: rapid.Bool().Draw(t, "in control"),
		Kind:     rapid.SampledFrom(kinds).Draw(t, "kind"),
		Severity: rapid.SampledFrom(severities).Draw(t, "severity"),
	}
}

// TestOnlyMetIsReleased: no fact but the verdict opens the gate, or a kill step
// that the policy names and that all of the lot went through; and a lot that
// missed, as recorded or not, never passes it.
func TestOnlyMetIsReleased(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		released := Default(f).Route == ReleaseWithRecord
		killed := f.KillStep && (f.Verdict == "indeterminate" || f.Verdict == "unknown")
		if want := (f.Verdict == "met" || killed) && !f.MissedAsRecorded; released != want {
			t.Fatalf("released %v, want %v", released, want)
		}
	})
}

// TestShippedAndNotMetIsReviewed: what has left and is not shown to have met its
// limit always comes before people.
func TestShippedAndNotMetIsReviewed(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		f.Shipped = true
		if d := Default(f); d.Route != RecallReview && d.Route != ReleaseWithRecord {
			t.Fatalf("route %s", d.Route)
		}
	})
}

func TestEveryDecisionIsExplainedAndSigned(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		f := anyFacts(t)
		d := Default(f)
		if d.Rule == "" || d.Reason == "" || strings.Contains(d.Reason, "safe") {
			t.Fatalf("%+v", d)
		}
		if len(d.Signers) < 2 || d.Signers[0] != QALead || len(slices.Compact(slices.Clone(d.Signers))) != len(d.Signers) {
			t.Fatalf("signers %v: the QA lead and a second person at least", d.Signers)
		}
		if d.Route == HoldForProcessAuthority && !slices.Contains(d.Signers, ProcessAuthority) {
			t.Fatalf("held for a process authority who does not sign: %v", d.Signers)
		}
	})
}

// TestRoutesByStory: common practice, in words.
func TestRoutesByStory(t *testing.T) {
	t.Parallel()
	tests := []struct {
		story string
		facts Facts
		route Route
	}{
		{"a cook that met its limit after correction", Facts{Level: 1, Verdict: "met", Kind: "at_least", Shipped: true}, ReleaseWithRecord},
		{"a cook in the plant that may have missed", Facts{Level: 3, Verdict: "indeterminate", Kind: "at_least", InControl: true}, HoldAndRetest},
		{"a cook in the plant that missed", Facts{Level: 4, Verdict: "missed", Kind: "at_least", InControl: true}, Rework},
		{"a retort load in doubt", Facts{Level: 3, Verdict: "indeterminate", Kind: "lethality", InControl: true}, HoldForProcessAuthority},
		{"a pasteuriser that missed its hold", Facts{Level: 4, Verdict: "missed", Kind: "hold", InControl: true}, HoldForProcessAuthority},
		{"a cold room that was too warm", Facts{Level: 4, Verdict: "missed", Kind: "at_most", InControl: true}, Destroy},
		{"a lost probe, all of it in the plant", Facts{Level: 3, Verdict: "unknown", Kind: "at_least", InControl: true}, HoldAndRetest},
		{"a lost probe, some of it sold", Facts{Level: 5, Verdict: "unknown", Kind: "at_least", InControl: true, Shipped: true}, RecallReview},
		{"used up in other lots", Facts{Level: 4, Verdict: "missed", Kind: "at_least"}, HoldAndRetest},
	}
	for _, tt := range tests {
		t.Run(tt.story, func(t *testing.T) {
			t.Parallel()
			if got := Default(tt.facts); got.Route != tt.route {
				t.Errorf("route %s by %s, want %s", got.Route, got.Rule, tt.route)
			}
		})
	}
}
