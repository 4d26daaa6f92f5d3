package workflow

import (
	"strings"
	"testing"
)

const (
	guarded = "decision_rule: guarded\n" + housePolicy
	simple  = "decision_rule: simple\n" + housePolicy
)

// A check that found 0.9 K with U = 0.2 K is inconclusive for ±1 °C by a guarded
// rule and passes by a simple one (ILAC-G8:09/2019, 4.2.1 and 4.2.3). What it
// opened stays open whatever the site decides later: only the limits are today's.
func TestOpeningStandsWhateverRuleComes(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.puts(guarded)
	s.makes("hot")
	s.reads(cooked("T-1", march(3, 7, 0), 71.5, "hot"))
	opened := s.check("T-1", march(5, 6, 0), 0.9)
	if len(opened) != 1 {
		t.Fatalf("%d deviations", len(opened))
	}
	before := s.trace(opened[0])
	if len(before.Assessments) != 1 {
		t.Fatalf("assessments of %v: the test tests nothing", lotsOf(before))
	}
	p := s.puts(strings.Replace(simple, "71 C", "70 C", 1))
	after := s.trace(opened[0])
	if len(after.Assessments) != 1 || after.After == nil || !after.After.Equal(*before.After) || after.Until != nil {
		t.Fatalf("assessments of %v, window from %v until %v, want hot from %v on", lotsOf(after), after.After, after.Until, before.After)
	}
	if text := after.Assessments[0].Text; after.PolicyVersion != p.version || !strings.Contains(text, "70") {
		t.Errorf("limit %q of version %d, want that in force", text, after.PolicyVersion)
	}
	for _, n := range after.Notes {
		if strings.Contains(n, "passed") {
			t.Errorf("note %q", n)
		}
	}
	s.holds(opened[0], "hot")
	if next := s.check("T-2", march(5, 6, 0), 0.9); len(next) != 0 {
		t.Errorf("%d deviations by a rule that is no longer in force", len(next))
	}
}

// An earlier check that becomes known under a stricter rule than the one under
// which the case opened is now what it is about; it stands by the rule that it was
// recorded under.
func TestEarlierOpeningStandsByItsOwnRule(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("hot")
	s.reads(cooked("T-1", march(3, 7, 0), 71.5, "hot"))
	d := s.fails("T-1", march(5, 6, 0))
	s.puts(guarded)
	if more := s.check("T-1", march(4, 6, 0), 0.9); len(more) != 0 {
		t.Fatalf("%d more deviations", len(more))
	}
	s.puts(simple)
	run := s.trace(d)
	if !run.FailedAt.Equal(march(4, 6, 0)) || len(run.Assessments) != 1 {
		t.Errorf("failed at %v, assessments of %v: want hot of the check of the 4th", run.FailedAt, lotsOf(run))
	}
}

// Another policy makes every deviation due whose last run was made under another.
func TestAnotherPolicyIsTracedAgain(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	s, d := caughtUp(t, svc)
	s.puts(housePolicy) // as it is: no new version
	s.is(d, Detected, false)
	p := s.puts(strings.Replace(housePolicy, "71 C", "74 C", 1))
	s.is(d, Detected, true)
	if run := s.trace(d); run.PolicyVersion != p.version {
		t.Errorf("traced under version %d, want %d", run.PolicyVersion, p.version)
	}
	s.is(d, Detected, false)
}
