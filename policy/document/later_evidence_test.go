package document_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"lastgood/policy/document"
)

const cookThenRetort = `
limits:
  - {limit: cook, kind: at_least, temperature: 74 C, hazard: salmonella}
  - {limit: retort, kind: lethality, reference: 121.1 C, z: 10 K, minutes: 3, max_gap: 1m}
`

func TestKillStepsAreRead(t *testing.T) {
	t.Parallel()
	p, problems := document.Parse([]byte(cookThenRetort + `
hazards:
  - {hazard: salmonella, severity: serious, toxin: false}
  - {hazard: staph toxin, severity: serious, toxin: true}
kill_steps:
  - {limit: retort, clears: [salmonella]}
corroboration: {within: 90s}
`))
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	if got := p.ClearedBy("salmonella"); len(got) != 1 || got[0] != "retort" {
		t.Errorf("salmonella is cleared by %v, want the retort", got)
	}
	if got := p.ClearedBy("staph toxin"); got != nil {
		t.Errorf("a toxin is cleared by %v", got)
	}
	if p.Corroboration.Within != 90*time.Second {
		t.Errorf("readings are compared within %v, want 90 s", p.Corroboration.Within)
	}
}

func TestKillStepsAreRefused(t *testing.T) {
	t.Parallel()
	for rule, add := range map[string]string{
		"toxin": `
hazards: [{hazard: staph toxin, severity: serious, toxin: true}]
kill_steps: [{limit: retort, clears: [staph toxin]}]`,
		"toxin-not-stated": `
hazards: [{hazard: salmonella, severity: serious}]
kill_steps: [{limit: retort, clears: [salmonella]}]`,
		"unknown-limit": `
hazards: [{hazard: salmonella, severity: serious, toxin: false}]
kill_steps: [{limit: oven, clears: [salmonella]}]`,
		"missing-parameter": `
kill_steps: [{limit: retort}]`,
		"out-of-range": `
corroboration: {within: 2h}`,
		"unknown-key": `
corroboration: {near: 2m}`,
	} {
		_, problems := document.Parse([]byte(cookThenRetort + add))
		if !slices.ContainsFunc(problems, func(p document.Problem) bool { return p.Rule == rule }) {
			t.Errorf("%s: got %v for%s", rule, problems, add)
		}
	}
	_, problems := document.Parse([]byte(cookThenRetort + `
hazards: [{hazard: staph toxin, severity: serious, toxin: true}]
kill_steps: [{limit: retort, clears: [staph toxin]}]`))
	if s := problems[0].String(); !strings.HasPrefix(s, "7:39: ") {
		t.Errorf("the toxin is told at %s, want line 7, column 39", s)
	}
}
