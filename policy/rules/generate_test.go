package rules

import (
	"fmt"
	"strconv"
	"strings"

	"cel.dev/cel-go/cel"
	"pgregory.net/rapid"
)

func anyFacts(t *rapid.T) Facts {
	flag := func(name string) bool { return rapid.Bool().Draw(t, name) }
	maybe := func(name string) *bool { return rapid.Ptr(rapid.Bool(), true).Draw(t, name) }
	amount := func(name string, most float64) *float64 {
		return rapid.Ptr(rapid.Float64Range(-1, most), true).Draw(t, name)
	}
	word := func(name string, words ...string) string {
		return rapid.SampledFrom(append(words, "", "foreign")).Draw(t, name)
	}
	return Facts{
		Verdict: word("verdict", verdictWords...), MissedAsRecorded: flag("as recorded"), NoLastGood: flag("no last good"),
		KillStep: flag("kill step"), ProbabilityMissed: amount("probability", 2), Shipped: flag("shipped"), InControl: flag("in control"),
		ShippedShare: amount("share", 2), Consignees: rapid.Ptr(rapid.IntRange(-1, 9), true).Draw(t, "consignees"),
		HoursToNextShipment: amount("hours", 99), ShelfLifeHours: amount("shelf life", 999), Severity: word("severity", severityWords...),
		Hazard: word("hazard", "salmonella"), ReadyToEat: maybe("rte"), Vulnerable: maybe("vulnerable"), SupportsGrowth: maybe("growth"),
		Limit: word("limit", "cook-core"), Product: word("product", "pie"), Kind: word("kind", kindWords...),
		Monitoring: word("monitoring", monitoringWords...),
	}
}

// anyDocument draws a document with every part.
func anyDocument(t *rapid.T) string {
	var b strings.Builder
	part := func(name string, s stage, rest func(i int) string) {
		fmt.Fprintf(&b, "%s:\n", name)
		for i := range rapid.IntRange(1, 4).Draw(t, name) {
			fmt.Fprintf(&b, "  - {rule: r%d, when: '%s', %s}\n", i, anyCondition(t, s, 3), rest(i))
		}
	}
	part("levels", levelStage, func(int) string {
		return rapid.SampledFrom([]string{"level: ", "raise: "}).Draw(t, "gives") + strconv.Itoa(rapid.IntRange(1, 4).Draw(t, "level")) + ", reason: why"
	})
	part("rules", routeStage, func(int) string {
		return "reason: why, route: " + rapid.SampledFrom(routeWords).Draw(t, "route")
	})
	part("signers", signerStage, func(int) string {
		return "meaning: signs, role: " + rapid.SampledFrom(roleWords).Draw(t, "role")
	})
	part("deadlines", signerStage, func(int) string { return "within: 24h, what: decide" })
	return b.String()
}

// anyCondition draws a condition of the language, so many operators deep.
func anyCondition(t *rapid.T, s stage, depth int) string {
	if depth == 0 {
		return anyComparison(t, s)
	}
	next := func() string { return anyCondition(t, s, depth-1) }
	switch rapid.IntRange(0, 4).Draw(t, "operator") {
	case 0:
		return "(" + next() + " && " + next() + ")"
	case 1:
		return "(" + next() + " || " + next() + ")"
	case 2:
		return "!(" + next() + ")"
	case 3:
		return "(" + next() + " ? " + next() + " : " + next() + ")"
	}
	return anyComparison(t, s)
}

func anyComparison(t *rapid.T, s stage) string {
	w := rapid.SampledFrom(vocabulary).Filter(func(w word) bool { return w.from <= s }).Draw(t, "fact")
	order := rapid.SampledFrom([]string{"==", "!=", "<", "<=", ">", ">="}).Draw(t, "comparison")
	switch w.kind {
	case cel.BoolType:
		return w.name
	case cel.IntType:
		return w.name + " " + order + " " + strconv.Itoa(rapid.IntRange(-2, 9).Draw(t, "whole"))
	case cel.DoubleType:
		return w.name + " " + order + " " + strconv.FormatFloat(rapid.Float64Range(-1, 50).Draw(t, "number"), 'f', 3, 64)
	}
	words := append([]string{"pie", "salmonella"}, w.words...)
	if w.words != nil {
		words = w.words
	}
	text := func() string { return `"` + rapid.SampledFrom(words).Draw(t, "text") + `"` }
	switch rapid.IntRange(0, 2).Draw(t, "question") {
	case 0:
		return w.name + " in [" + text() + ", " + text() + "]"
	case 1:
		return w.name + ".startsWith(" + text() + ")"
	}
	return w.name + " " + order + " " + text()
}
