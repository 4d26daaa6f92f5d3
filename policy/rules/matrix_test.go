package rules

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden keeps what the built-in document decides in a file that a quality
// manager can read and that a review sees change.
func golden(t *testing.T, name, got string) {
	t.Helper()
	file := "../../testdata/golden/" + name
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("the matrix differs from %s (-update writes it):\n%s", file, d)
	}
}

var severities = []string{"minor", "moderate", "serious", "fatal", ""}

// TestLevelMatrix: the level of every combination of the facts that the built-in
// levels read.
func TestLevelMatrix(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	b.WriteString(`# Levels by the built-in rules, over all facts that they read.
# Nine digits: ready to eat no, yes, ? by vulnerable consumers no, yes, ? (no-no first, ?-? last).
# A second nine: the same without a last good check. "as recorded": the readings missed as recorded.
`)
	fmt.Fprintf(&b, "%-14s %-11s %-9s %-8s %-9s %-9s %s\n",
		"verdict", "as recorded", "where", "severity", "levels", "no check", "rules")
	for _, killed := range []bool{false, true} {
		if killed {
			b.WriteString("# The same where all of it went through a later step, proven by a good instrument, that controls the hazard.\n")
		}
		for _, f := range placed() {
			for _, f.Severity = range severities {
				f.KillStep = killed
				b.WriteString(levelRow(f))
			}
		}
	}
	golden(t, "rules_levels.txt", b.String())
}

// placed returns facts for each verdict, as recorded and not, in each place.
func placed() []Facts {
	var out []Facts
	for _, v := range verdictWords {
		for _, recorded := range []bool{false, true} {
			for place := range 4 {
				out = append(out, Facts{Verdict: v, MissedAsRecorded: recorded, Shipped: place&1 != 0, InControl: place&2 != 0})
			}
		}
	}
	return out
}

func levelRow(f Facts) string {
	var levels, without strings.Builder
	var by []string
	for _, f.ReadyToEat = range threeWay {
		for _, f.Vulnerable = range threeWay {
			f.NoLastGood = false
			o := Default().Evaluate(f)
			levels.WriteString(digit(o.Level))
			if !slices.Contains(by, o.LevelRule) {
				by = append(by, o.LevelRule)
			}
			f.NoLastGood = true
			without.WriteString(digit(Default().Evaluate(f).Level))
		}
	}
	word := map[bool]string{true: "missed", false: "-"}
	return fmt.Sprintf("%-14s %-11s %-9s %-8s %-9s %-9s %s\n", f.Verdict, word[f.MissedAsRecorded],
		where(f), orAsk(f.Severity), levels.String(), without.String(), strings.Join(by, ", "))
}

// TestRouteMatrix: the route of every combination of the facts that the built-in
// rules read, then who signs and by when at each level and route.
func TestRouteMatrix(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	b.WriteString("# Routes by the built-in rules, over all facts that they read. Severity: lesser is minor or moderate, grave is the rest.\n")
	fmt.Fprintf(&b, "%-14s %-9s %-14s %-9s %s\n", "verdict", "where", "kind", "severity", "route (rule)")
	for _, f := range placed() {
		if f.MissedAsRecorded {
			continue
		}
		for _, f.Kind = range append(kindWords[:9:9], "") {
			f.Severity = "minor"
			routeRow(&b, f, "lesser")
			f.Severity = "serious"
			routeRow(&b, f, "grave")
		}
	}
	b.WriteString("\n# The same where all of it went through a later step that controls the hazard.\n")
	for _, f := range placed() {
		if !f.MissedAsRecorded {
			f.Kind, f.Severity, f.KillStep = "at_least", "serious", true
			routeRow(&b, f, "grave")
		}
	}
	b.WriteString("\n# Who signs, in this order, and by when, at each level and route.\n")
	for level := 1; level <= highest; level++ {
		for _, route := range routeWords {
			signerRow(t, &b, level, Route(route), "at_least")
		}
	}
	b.WriteString("\n# The same for a sterilising process whose product has shipped.\n")
	for level := 1; level <= highest; level++ {
		signerRow(t, &b, level, RecallReview, "lethality")
	}
	golden(t, "rules_routes.txt", b.String())
}

func routeRow(b *strings.Builder, f Facts, severity string) {
	o := Default().Evaluate(f)
	fmt.Fprintf(b, "%-14s %-9s %-14s %-9s %s (%s)\n", f.Verdict, where(f), orAsk(f.Kind), severity, o.Route, o.RouteRule)
}

func signerRow(t *testing.T, b *strings.Builder, level int, route Route, kind string) {
	t.Helper()
	a := newActivation(Facts{Kind: kind}.settled())
	a.outcome.Level, a.outcome.Route = level, route
	if err := Default().sign(a); err != nil {
		t.Fatal(err)
	}
	if err := Default().clock(a); err != nil {
		t.Fatal(err)
	}
	var sign, within []string
	for _, s := range a.outcome.Signers {
		sign = append(sign, s.Role)
	}
	for _, d := range a.outcome.Deadlines {
		within = append(within, fmt.Sprintf("%s within %g h", d.What, d.Within.Hours()))
	}
	if within == nil {
		within = []string{"-"}
	}
	fmt.Fprintf(b, "%d  %-26s %-68s %s\n", level, route, strings.Join(sign, ", "), strings.Join(within, ", "))
}

func where(f Facts) string {
	switch {
	case f.Shipped && f.InControl:
		return "both"
	case f.Shipped:
		return "shipped"
	case f.InControl:
		return "in plant"
	}
	return "?"
}

func orAsk(word string) string {
	if word == "" {
		return "?"
	}
	return word
}
