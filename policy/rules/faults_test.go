package rules

import (
	"fmt"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// inRule puts a condition, in single quotes, into a rule for routes. The
// condition begins in conditionColumn of line 1.
func inRule(when string) string {
	return `rules: [{rule: x, when: '` + strings.ReplaceAll(when, "'", "''") + `', route: destroy, reason: why}]`
}

const conditionColumn = 26

// TestFaultsInConditions: what is told of each slip, and where in the condition.
func TestFaultsInConditions(t *testing.T) {
	t.Parallel()
	tests := []struct {
		when   string
		at     int // characters from the start of the condition
		rule   string
		detail string // a part of it
	}{
		{`shiped`, 0, "unknown-fact", "there is no fact shiped: did you mean shipped? The facts are verdict, missed_as_recorded, "},
		{`ready_to_eat`, 0, "unknown-fact", "did you mean ready_to_eat_or_unknown?"},
		{`shipped && temperature > 5`, 11, "unknown-fact", "there is no fact temperature: the facts are verdict"},
		{`route == "destroy"`, 0, "unknown-fact", "route is not known yet where this condition stands: only signers or deadlines may use it"},
		{`int == int`, 0, "unknown-fact", "there is no fact int"},
		{`lot.made_at == 1`, 0, "unknown-fact", "there is no fact lot"},
		{`verdict == "mett"`, 11, "unknown-word", `verdict is never "mett": it is met, indeterminate, missed or unknown`},
		{`verdict in ["met", "mised"]`, 19, "unknown-word", `verdict is never "mised"`},
		{`"atleast" != kind`, 0, "unknown-word", `kind is never "atleast"`},
		{`verdict == 1`, 8, "wrong-type", "a rule cannot say == of a text and a whole number"},
		{`shipped_share_at_worst == 1`, 23, "wrong-type", "write the number with a point, as in 1.0"},
		{`!verdict`, 0, "wrong-type", "a rule cannot say ! of a text: it combines conditions"},
		{`shipped && 1`, 11, "wrong-type", "here must be a truth value, and this is a whole number"},
		{`"met" in verdict`, 6, "wrong-type", "write a list of values of the same type"},
		{`level == 1u`, 6, "wrong-type", "a whole number without sign"},
		{`level`, 0, "not-boolean", "this is a whole number: compare it with something"},
		{`"shipped"`, 0, "not-boolean", "this is a text"},
		{`size(verdict) > 3`, 4, "not-supported", "size is not part of a rule"},
		{`verdict.matches("(a*)*b")`, 15, "not-supported", "matches is not part of a rule"},
		{`[1, 2].exists(x, x == 1)`, 13, "not-supported", "exists is not part of a rule"},
		{`has(lot.code)`, 3, "not-supported", "has is not part of a rule"},
		{`consignees_at_worst + 1 > 2`, 20, "not-supported", "+ is not part of a rule"},
		{`consignees_at_worst / 0 > 2`, 20, "not-supported", "/ is not part of a rule"},
		{`[shipped][1]`, 9, "not-supported", "[ ] is not part of a rule"},
		{`int(verdict) == 1`, 3, "not-supported", "int is not part of a rule"},
		{`verdict in {"met": 1}`, 11, "not-supported", "this is not part of a rule"},
		{`{"a": 1, "a": 2} == {"a": 1}`, 0, "not-supported", "this is not part of a rule"},
		{`shipped and in_control`, 8, "not-a-rule", "write && for and"},
		{`shipped or in_control`, 8, "not-a-rule", "|| for or"},
		{`not shipped`, 4, "not-a-rule", "! for not"},
		{`verdict = "met"`, 8, "not-a-rule", "write == to ask"},
		{`verdict == "met" && `, 16 + 3, "not-a-rule", "ends too early"},
		{``, 0, "not-a-rule", "ends too early"},
		{`shipped limit == "a"`, 8, "not-a-rule", "not a condition from here on"},
		{strings.Repeat("?! ", 30), 0, "not-a-rule", "not a condition from here on"},
		{`shipped @ in_control`, 8, "not-a-rule", "not a condition from here on"},
		{`1 > 2`, 0, "never-matches", "never true"},
		{`false`, 0, "never-matches", "never true"},
		{strings.Repeat("(", 60) + "shipped" + strings.Repeat(")", 60), 0, "too-large", "less than 40 brackets"},
		{strings.Repeat("shipped || ", 100) + "shipped", 0, "too-large", "at most 1000 characters"},
		{"level in [" + strings.Repeat("1,", 450) + "1]", 0, "too-large", "400 words"},
	}
	for _, tt := range tests {
		t.Run(tt.when[:min(len(tt.when), 40)], func(t *testing.T) {
			t.Parallel()
			_, problems := read(t, inRule(tt.when))
			if len(problems) == 0 {
				t.Fatal("no problem")
			}
			p := problems[0]
			if want := conditionColumn + tt.at; p.Line != 1 || p.Column != want || p.Rule != tt.rule || p.Path != "rules[0].when" {
				t.Errorf("%d:%d %s %s, want 1:%d %s rules[0].when", p.Line, p.Column, p.Rule, p.Path, want, tt.rule)
			}
			if !strings.HasPrefix(p.Detail, "rule x: ") || !strings.Contains(p.Detail, tt.detail) {
				t.Errorf("%q does not say %q", p.Detail, tt.detail)
			}
		})
	}
}

// TestEveryFaultOfAConditionIsTold: not the first only.
func TestEveryFaultOfAConditionIsTold(t *testing.T) {
	t.Parallel()
	_, problems := read(t, inRule(`shiped || verdict == 3 || temp > 4`))
	want := []string{"26 unknown-fact", "44 wrong-type", "52 unknown-fact"}
	var got []string
	for _, p := range problems {
		got = append(got, fmt.Sprint(p.Column, " ", p.Rule))
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

// TestFaultsInDocuments: what is told of each slip outside the conditions.
func TestFaultsInDocuments(t *testing.T) {
	t.Parallel()
	const good = `, when: shipped, route: destroy, reason: why}`
	tests := []struct {
		name, text string
		want       []string
	}{
		{"not a list", "rules: 3", []string{"1:8 rules wrong-type"}},
		{"empty", "signers: []", []string{"1:10 signers empty"}},
		{"not a mapping", "rules: [shipped]", []string{"1:9 rules[0] wrong-type"}},
		{"alias", "a: &b {rule: a" + good + "\nrules: [*b]", []string{"2:9 rules[0] wrong-type"}},
		{"anchor", "rules: [{rule: a, when: &w shipped, route: destroy, reason: why}]", []string{"1:25 rules[0].when not-supported"}},
		{"unknown key", "rules: [{rule: a, then: x" + good, []string{"1:19 rules[0].then unknown-key"}},
		{"key twice", "rules: [{rule: a, rule: b" + good, []string{"1:19 rules[0].rule duplicate-key"}},
		{"missing keys", "rules: [{rule: a}]", []string{"1:9 rules[0].when missing-key", "1:9 rules[0].route missing-key", "1:9 rules[0].reason missing-key"}},
		{"bad name", "rules: [{rule: Cold Missed" + good, []string{"1:16 rules[0].rule bad-name"}},
		{"reserved name", "rules: [{rule: no-route" + good, []string{"1:16 rules[0].rule reserved-name"}},
		{"same name", "rules:\n  - {rule: a" + good + "\n  - {rule: a, when: in_control, route: rework, reason: why}", []string{"3:12 rules[1].rule duplicate-name"}},
		{"unknown route", "rules: [{rule: a, when: shipped, route: release, reason: why}]", []string{"1:41 rules[0].route unknown-route"}},
		{"a truth value", "rules: [{rule: a, when: true, route: destroy, reason: why}]", []string{"1:25 rules[0].when not-text"}},
		{"a tag", "rules: [{rule: a, when: !shipped, route: destroy, reason: why}]", []string{"1:25 rules[0].when not-text"}},
		{"a list", "rules: [{rule: a, when: [shipped], route: destroy, reason: why}]", []string{"1:25 rules[0].when wrong-type"}},
		{"a number as a reason", "rules: [{rule: a, when: shipped, route: destroy, reason: 3}]", []string{"1:58 rules[0].reason not-text"}},
		{"an empty reason", "rules: [{rule: a, when: shipped, route: destroy, reason: ''}]", []string{"1:58 rules[0].reason not-a-sentence"}},
		{"two lines of reason", "rules: [{rule: a, when: shipped, route: destroy, reason: \"a\\nb\"}]", []string{"1:58 rules[0].reason not-a-sentence"}},
		{"after always", "rules:\n  - {rule: a, when: 'true', route: destroy, reason: why}\n  - {rule: b" + good, []string{"3:21 rules[1].when unreachable"}},
		{"after what is always so", "rules:\n  - {rule: a, when: '1 < 2 || false', route: destroy, reason: why}\n  - {rule: b" + good, []string{"3:21 rules[1].when unreachable"}},
		{"same condition", "rules:\n  - {rule: a" + good + "\n  - {rule: b, when: ' shipped', route: rework, reason: why}", []string{"3:21 rules[1].when unreachable"}},
		{"unknown route meant", "routes: {sell: cheaply}", []string{"1:10 routes.sell unknown-route"}},
		{"level out of range", "levels: [{rule: a, when: shipped, level: 6, reason: why}]", []string{"1:42 levels[0].level out-of-range"}},
		{"level zero", "levels: [{rule: a, when: shipped, level: 0, reason: why}]", []string{"1:42 levels[0].level out-of-range"}},
		{"level in words", "levels: [{rule: a, when: shipped, level: 2.5, reason: why}]", []string{"1:42 levels[0].level out-of-range"}},
		{"raise too much", "levels: [{rule: a, when: shipped, raise: 5, reason: why}]", []string{"1:42 levels[0].raise out-of-range"}},
		{"level and raise", "levels: [{rule: a, when: shipped, level: 2, raise: 1, reason: why}]", []string{"1:10 levels[0] missing-key"}},
		{"neither", "levels: [{rule: a, when: shipped, reason: why}]", []string{"1:10 levels[0] missing-key"}},
		{"level in levels", "levels: [{rule: a, when: level > 1, level: 2, reason: why}]", []string{"1:26 levels[0].when unknown-fact"}},
		{"unknown role", "signers:\n  - {rule: a, when: 'true', role: boss, meaning: yes sir}\n  - {rule: b, when: 'true', role: qa_lead, meaning: proposes}", []string{"2:35 signers[0].role unknown-role"}},
		{"one role", "signers: [{rule: a, when: shipped, role: qa_lead, meaning: proposes}]", []string{"1:10 signers too-few"}},
		{"no duration", "deadlines: [{rule: a, when: shipped, within: 24, what: decide}]", []string{"1:46 deadlines[0].within bad-duration"}},
		{"no time at all", "deadlines: [{rule: a, when: shipped, within: 0s, what: decide}]", []string{"1:46 deadlines[0].within out-of-range"}},
		{"for ever", "deadlines: [{rule: a, when: shipped, within: 9000h, what: decide}]", []string{"1:46 deadlines[0].within out-of-range"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			_, problems := read(t, tt.text+strings.Repeat("]", strings.Count(tt.text, "[{")-strings.Count(tt.text, "}]")))
			var got []string
			for _, p := range problems {
				got = append(got, fmt.Sprintf("%d:%d %s %s", p.Line, p.Column, p.Path, p.Rule))
			}
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Error(d)
			}
		})
	}
}

func TestTooManyRules(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	b.WriteString("deadlines:\n")
	for i := range maxLines + 1 {
		fmt.Fprintf(&b, "  - {rule: r%d, when: shipped, within: 1h, what: decide}\n", i)
	}
	if _, problems := read(t, b.String()); len(problems) != 1 || problems[0].Rule != "too-many" || problems[0].Line != maxLines+2 {
		t.Errorf("%+v", problems)
	}
}

// TestProblemsAreNotEndless: a document of slips is not told in full.
func TestProblemsAreNotEndless(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	for _, part := range Keys() {
		fmt.Fprintf(&b, "%s:\n", part)
		for range maxLines {
			b.WriteString("  - {x: 1, y: 2}\n")
		}
	}
	if _, problems := read(t, b.String()); len(problems) != maxProblems {
		t.Errorf("%d problems", len(problems))
	}
}

// TestConstantsAreEvaluated: a condition that names no fact is decided once, and
// one that always holds is no fault by itself.
func TestConstantsAreEvaluated(t *testing.T) {
	t.Parallel()
	for _, when := range []string{"true", "1 < 2", `"a" == "a" || false`, `"abc".startsWith("a")`} {
		if o := good(t, inRule(when)).Evaluate(Facts{}); o.RouteRule != "x" {
			t.Errorf("%s: %s", when, o.RouteRule)
		}
	}
}
