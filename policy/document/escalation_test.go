package document

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestEscalation(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]Escalation{
		"": {15 * time.Minute, 30 * time.Minute}, // design notes on the procedure, T03; then a judgement
		"escalation: {holds_after: 5m, again_every: 1h}": {5 * time.Minute, time.Hour},
		"escalation: {holds_after: 24h}":                 {24 * time.Hour, 30 * time.Minute},
	} {
		if got := parse(t, besides(text)).Escalation; got != want {
			t.Errorf("%q: %+v", text, got)
		}
	}
	if got := parse(t, besides("overdue_grace: 36h")).OverdueGrace; got != 36*time.Hour {
		t.Errorf("a grace of %v", got)
	}
	if got := parse(t, besides("")).OverdueGrace; got != 0 {
		t.Errorf("a grace of %v where none is said", got)
	}
}

func TestEscalationIsRefused(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]Problem{
		"escalation: {holds_after: 15}":  {Line: 1, Column: 27, Path: "escalation.holds_after", Rule: "missing-unit"},
		"escalation: {again_every: 0s}":  {Line: 1, Column: 27, Path: "escalation.again_every", Rule: "out-of-range"},
		"escalation: {again_every: 25h}": {Line: 1, Column: 27, Path: "escalation.again_every", Rule: "out-of-range"},
		"escalation: {hold_after: 15m}":  {Line: 1, Column: 14, Path: "escalation.hold_after", Rule: "unknown-key"},
		"overdue_grace: -1h":             {Line: 1, Column: 16, Path: "overdue_grace", Rule: "negative"},
		"overdue_grace: 800h":            {Line: 1, Column: 16, Path: "overdue_grace", Rule: "out-of-range"},
	} {
		_, problems := Parse([]byte(text + "\nlimits: [{limit: cook, kind: at_least, temperature: 165 F}]\n"))
		for i := range problems {
			problems[i].Detail = ""
		}
		if diff := cmp.Diff([]Problem{want}, problems); diff != "" {
			t.Errorf("%s:\n%s", text, diff)
		}
	}
}
