package main

import (
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"
)

// TestKillStepsClearWhatWentThroughThem: the level, the route and the step of
// every lot of two stories; a verdict alone does not show a kill step.
func TestKillStepsClearWhatWentThroughThem(t *testing.T) {
	t.Parallel()
	type told struct {
		Level int
		Route string
		Step  string
	}
	for story, want := range map[string]map[string]told{
		"later-kill-step": {
			"C-1 cook-core": {2, "release_with_record", "retort"}, "C-2 cook-core": {3, "hold_and_retest", ""},
			"C-3 cook-core": {3, "hold_and_retest", ""}, "C-4 cook-core": {3, "hold_and_retest", ""},
			"C-5 cook-core": {2, "release_with_record", "retort"}, "C-5 chill": {3, "hold_and_retest", ""},
		},
		"kill-step-evaded": {
			"S-1-part-shipped-raw cook-core":      {5, "recall_review", ""},
			"S-2-silent-after-kill store":         {3, "hold_and_retest", ""},
			"S-3-stay-again-after-kill store":     {3, "hold_and_retest", ""},
			"S-4-other-recorder-missed cook-core": {3, "hold_and_retest", ""},
			"S-5-part-used-before-kill cook-core": {3, "hold_and_retest", ""},
		},
	} {
		t.Run(story, func(t *testing.T) {
			t.Parallel()
			_, r := assessJSON(t, filepath.Join(cases, story))
			got := map[string]told{}
			for _, d := range r.Deviations {
				for _, a := range d.Assessments {
					x := told{Level: a.Level, Route: a.Route}
					if a.KillStep != nil {
						x.Step = a.KillStep.Limit
					}
					got[a.Lot+" "+*a.Limit] = x
				}
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("levels, routes and steps (-told +came out):\n%s", diff)
			}
		})
	}
}
