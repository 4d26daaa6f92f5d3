package rules

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// try returns what would have been decided otherwise under new rules, by the
// index of the facts.
func try(before, after *Rules, facts []Facts) map[int][]string {
	out := map[int][]string{}
	for i, f := range facts {
		if what := Differences(before.Evaluate(f), after.Evaluate(f)); what != nil {
			out[i] = what
		}
	}
	return out
}

func TestDifferencesAreTold(t *testing.T) {
	t.Parallel()
	facts := []Facts{
		{Verdict: met},
		{Verdict: missed, InControl: true, Kind: "at_most", Severity: "serious"},
		{Verdict: indeterminate, InControl: true, Kind: "at_least", Severity: "minor"},
	}
	tests := []struct {
		name, text string
		want       map[int][]string
	}{
		{"nothing", "{}", map[int][]string{}},
		{"other words for the same", `
levels:
  - {rule: all-met, when: 'verdict in ["met"]', level: 1, reason: in other words}
  - {rule: rest, when: "true", level: 4, reason: in other words}
`, map[int][]string{}},
		{"no destroying", `
rules:
  - {rule: met, when: verdict == "met", route: release_with_record, reason: met}
  - {rule: rest, when: "true", route: hold_and_retest, reason: held}
`, map[int][]string{1: {"route"}}},
		{"a level, and with it who signs and by when", `
levels:
  - {rule: met, when: verdict == "met", level: 1, reason: met}
  - {rule: missed, when: verdict == "missed", level: 4, reason: missed}
  - {rule: rest, when: "true", level: 2, reason: the rest}
`, map[int][]string{2: {"level", "signers", "deadlines"}}},
		{"only a deadline", `deadlines: [{rule: all, when: verdict == "met", within: 1h, what: file the record}]`,
			map[int][]string{0: {"deadlines"}, 1: {"deadlines"}, 2: {"deadlines"}}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			if d := cmp.Diff(tt.want, try(Default(), good(t, tt.text), facts)); d != "" {
				t.Error(d)
			}
		})
	}
}
