package rules

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

func TestTryTellsWhatDiffers(t *testing.T) {
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
			got := map[int][]string{}
			for _, d := range Try(Default(), good(t, tt.text), facts) {
				got[d.Index] = d.What
				if !cmp.Equal(d.Facts, facts[d.Index]) || cmp.Equal(d.Old, d.New) {
					t.Errorf("%+v", d)
				}
			}
			if d := cmp.Diff(tt.want, got); d != "" {
				t.Error(d)
			}
		})
	}
}
