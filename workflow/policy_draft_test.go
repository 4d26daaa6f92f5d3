package workflow

import (
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

// adopts puts a text in force as the next version, unless it is, without the people
// whom that takes.
func (s *site) adopts(text string) (version int) {
	s.Helper()
	s.must(s.db.InTx(s.ctx, s.sc, func(tx *pg.Tx) (err error) {
		if err := tx.OwnPlant(s.ctx); err != nil {
			return err
		}
		last, body, err := lastPolicy(s.ctx, tx)
		if version = last; err != nil || string(body) == text {
			return err
		}
		version, err = adoptPolicy(s.ctx, tx, []byte(text), nil)
		return err
	}))
	return version
}

// inForce is the number of the version in force.
func (s *site) inForce() int {
	s.Helper()
	p, err := s.CurrentPolicy(s.ctx, s.sc)
	s.must(err)
	return p.Version
}

// drafts proposes a text on the version in force.
func (s *site) drafts(text string) signoff.Record {
	s.Helper()
	r, err := s.ProposePolicy(s.ctx, s.sc, []byte(text), s.inForce())
	s.must(err)
	return r
}

const stricter = "limits: [{limit: cook, kind: at_least, temperature: 75 C}]\n"

// TestPolicyTakesTwoPeople: the first policy goes in force at once, the next when
// a qualified person and the plant manager have signed, and each version says who.
func TestPolicyTakesTwoPeople(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.employ()
	if _, err := s.PutPolicy(s.ctx, s.sc, []byte(stricter)); !isFault(err, fault.Refused, "second-person-required") {
		t.Fatalf("another text: %v", err)
	}
	if _, err := s.ProposePolicy(s.ctx, s.sc, []byte(housePolicy), 1); !isFault(err, fault.Refused, "policy-unchanged") {
		t.Errorf("the text in force: %v", err)
	}
	if _, err := s.ProposePolicy(s.ctx, s.sc, []byte(stricter), 2); !isFault(err, fault.Stale, "precondition-failed") {
		t.Errorf("on a version that is not in force: %v", err)
	}
	if _, err := s.ProposePolicy(s.ctx, s.sc, []byte("limits: []"), 1); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a text with a problem: %v", err)
	}
	r := s.drafts(stricter)
	if again := s.drafts(stricter); again.ID != r.ID || again.Version != 1 {
		t.Errorf("the same draft again: %d version %d", again.ID, again.Version)
	}
	if err := s.signs(disposition.PlantManager, r); !isFault(err, fault.Refused, "not-your-turn") {
		t.Errorf("the manager first: %v", err)
	}
	s.must(s.signs(disposition.QualifiedPerson, r))
	if s.inForce() != 1 {
		t.Fatal("one person put a policy in force")
	}
	s.must(s.signs(disposition.PlantManager, r))
	p, err := s.CurrentPolicy(s.ctx, s.sc)
	s.must(err)
	if p.Version != 2 || string(p.Text) != stricter {
		t.Errorf("version %d is in force: %s", p.Version, p.Text)
	}
	if err := s.signs(disposition.PlantManager, r); !isFault(err, fault.Refused, "not-standing") {
		t.Errorf("once more: %v", err)
	}
	s.versionsSay("1: nobody", fmt.Sprintf("2: draft %d pcqi manager", r.ID))
	if v, err := s.PolicyAt(s.ctx, s.sc, 1); err != nil || string(v.Text) != housePolicy {
		t.Errorf("version 1: %s, %v", v.Text, err)
	}
	if _, err := s.PolicyAt(s.ctx, s.sc, 3); !isFault(err, fault.NotFound, "unknown-version") {
		t.Errorf("version 3: %v", err)
	}
	if n := s.count(`select count(*) from critical_limit where policy_version = 2`); n != 1 {
		t.Errorf("%d limits of version 2", n)
	}
}

// versionsSay compares who signed each version.
func (s *site) versionsSay(want ...string) {
	s.Helper()
	list, err := s.PolicyVersions(s.ctx, s.sc, 0, 100)
	s.must(err)
	var got []string
	for _, v := range list {
		line := fmt.Sprintf("%d: nobody", v.Number)
		if v.Draft != nil {
			line = fmt.Sprintf("%d: draft %d", v.Number, *v.Draft)
			for _, sig := range v.Record.Signatures {
				line += " " + sig.Person
			}
		}
		got = append(got, line)
	}
	if d := cmp.Diff(want, got); d != "" {
		s.Errorf("versions (-want +got):\n%s", d)
	}
}

// TestNobodyPutsTheirOwnRuleInForce: who proposed a policy, who answered for it and
// who stands in for either is an author of it (design notes on signing, S-9).
func TestNobodyPutsTheirOwnRuleInForce(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.employ()
	installer := pg.Scope{Plant: s.sc.Plant, By: actor.Actor{ID: "installer", Kind: actor.Person}}
	both := []person.Grant{{Role: disposition.PlantManager},
		{Role: disposition.QualifiedPerson, Qualification: person.Qualification{Kind: "PCQI", Reference: "a certificate"}}}
	_, err := s.AddPerson(s.ctx, installer, person.Identity{Code: "both", Name: "N. Both", Title: "manager"}, both...)
	s.must(err)
	sign := func(who string, role disposition.Role, r signoff.Record) error {
		sc := s.as(role)
		sc.By.ID = who
		_, err := s.Sign(s.ctx, sc, role, "a note cures nothing", []ToSign{{r.Kind, r.ID, hex.EncodeToString(r.Digest)}})
		return err
	}
	// The manager's own proposal.
	r, err := s.ProposePolicy(s.ctx, s.as(disposition.PlantManager), []byte(stricter), 1)
	s.must(err)
	s.must(s.signs(disposition.QualifiedPerson, r))
	if err := s.signs(disposition.PlantManager, r); !isFault(err, fault.Forbidden, "sod-conflict") {
		t.Errorf("the manager signs what they proposed: %v", err)
	}
	s.must(sign("both", disposition.PlantManager, r))
	// One person in both seats.
	r = s.drafts(housePolicy)
	s.must(sign("both", disposition.QualifiedPerson, r))
	if err := sign("both", disposition.PlantManager, r); !isFault(err, fault.Forbidden, "sod-conflict") {
		t.Errorf("one person signs twice: %v", err)
	}
	s.must(s.signs(disposition.PlantManager, r))
	// Whoever proposed may answer for it: that is the same deed.
	r, err = s.ProposePolicy(s.ctx, s.as(disposition.QualifiedPerson), []byte(stricter), 3)
	s.must(err)
	s.must(s.signs(disposition.QualifiedPerson, r))
	s.must(s.signs(disposition.PlantManager, r))
	if s.inForce() != 4 {
		t.Errorf("version %d is in force", s.inForce())
	}
}

// TestNewerDraftOutdatesOlderOnes, and a policy that moved on outdates all.
func TestNewerDraftOutdatesOlderOnes(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.employ()
	first := s.drafts(stricter)
	s.must(s.signs(disposition.QualifiedPerson, first))
	second := s.drafts(stricter + "onset: gradual\n")
	if err := s.signs(disposition.PlantManager, first); !isFault(err, fault.Refused, "draft-outdated") {
		t.Errorf("the older draft: %v", err)
	}
	s.waitFor(disposition.QualifiedPerson, second.ID)
	s.adopts(housePolicy + "# looked over\n")
	if err := s.signs(disposition.QualifiedPerson, second); !isFault(err, fault.Refused, "policy-moved-on") {
		t.Errorf("a draft of a version that is past: %v", err)
	}
	s.waitFor(disposition.QualifiedPerson)
	third := s.drafts(stricter + "onset: gradual\n")
	s.must(s.signs(disposition.QualifiedPerson, third))
	s.must(s.signs(disposition.PlantManager, third))
	var got []string
	list, err := s.PolicyDrafts(s.ctx, s.sc, 0, 100)
	s.must(err)
	for _, d := range list {
		got = append(got, fmt.Sprintf("%d on %d: %s", d.ID, d.BasedOn, d.State))
	}
	want := []string{fmt.Sprintf("%d on 1: outdated", first.ID), fmt.Sprintf("%d on 1: outdated", second.ID), fmt.Sprintf("%d on 2: adopted", third.ID)}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("drafts (-want +got):\n%s", d)
	}
	if _, err := s.PolicyDraft(s.ctx, s.sc, third.ID+1); !isFault(err, fault.NotFound, "unknown-draft") {
		t.Errorf("no draft: %v", err)
	}
}

// waitFor compares which drafts wait for somebody.
func (s *site) waitFor(role disposition.Role, want ...int64) {
	s.Helper()
	list, err := s.ToBeSigned(s.ctx, s.as(role))
	s.must(err)
	var got []int64
	for _, r := range list {
		got = append(got, r.ID)
	}
	if !slices.Equal(want, got) {
		s.Errorf("drafts %v wait for %s, want %v", got, role, want)
	}
}

// TestDraftSaysWhatChanges: by name, with every figure, and nothing of layout.
func TestDraftSaysWhatChanges(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.adopts(`
limits:
  - {limit: cook, kind: at_least, temperature: 71 C, hazard: salmonella}
  - {limit: cool, kind: hold, at_least: 72 C, for: 15s, max_gap: 2s}
  - {limit: gone, kind: at_most, temperature: 5 C}
onset: sudden
coverage: 2
rules:
  - {rule: a, when: verdict == "missed", route: destroy, reason: no rework}
  - {rule: b, when: shipped, route: recall_review, reason: it left}
`)
	r := s.drafts(`# laid out anew
coverage: 2
limits:
  - limit: cool
    kind: hold
    at_least: 72 C
    for: 15s
    max_gap: 5s
  - {limit: cook, kind: at_least, temperature: 71 C, hazard: salmonella}
  - {limit: new, kind: at_most, temperature: 5 C}
beyond_points: 5 K
rules:
  - {rule: b, when: shipped, route: recall_review, reason: it left}
  - {rule: a, when: verdict == "missed", route: rework, reason: no rework}
`)
	var w signedPolicy
	s.must(json.Unmarshal(r.What, &w))
	var got []string
	for _, c := range w.Changes {
		got = append(got, c.Part+" "+c.Name+" "+c.Change)
	}
	want := []string{"limits cool changed", "limits new added", "limits gone removed", "beyond_points  added", "rules a changed", "rules  reordered", "onset  removed"}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("changes (-want +got):\n%s", d)
	}
	was, now := fmt.Sprint(w.Changes[0].Was), fmt.Sprint(w.Changes[0].Now)
	if was != "[map[at_least:72 C for:15s kind:hold limit:cool max_gap:2s]]" || now != "[map[at_least:72 C for:15s kind:hold limit:cool max_gap:5s]]" {
		t.Errorf("%s, now %s", was, now)
	}
	if w.BasedOn != 2 || w.Rerouted != 0 || w.Caution == "" || len(w.SHA256) != 64 {
		t.Errorf("%+v", w)
	}
	if same := s.drafts(housePolicy); same.ID == r.ID {
		t.Error("another text is no draft of its own")
	}
	again, err := policyChanges([]byte(housePolicy), []byte("# looked over\n"+housePolicy))
	if err != nil || len(again) != 0 {
		t.Errorf("a comment changes %+v, %v", again, err)
	}
}

// TestClosedDeviationIsNotDueForAPolicy, and an open one is; what the rules would
// have routed otherwise is counted of the open ones.
func TestClosedDeviationIsNotDueForAPolicy(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	s.trace(d)
	everythingDestroyed := housePolicy + "rules: [{rule: all, when: \"true\", route: destroy, reason: we never look twice}]\n"
	said := func(text string) (w signedPolicy) {
		s.must(json.Unmarshal(s.drafts(text).What, &w))
		return w
	}
	if w := said(everythingDestroyed); w.Rerouted != 1 {
		t.Errorf("%d deviations routed otherwise, want 1", w.Rerouted)
	}
	s.adopts(housePolicy + "# looked over\n")
	if s.now(d).RetraceDue == nil {
		t.Error("an open deviation is not due")
	}
	s.trace(d)
	is := func(state State) {
		s.must(s.db.InTx(s.ctx, s.sc, func(tx *pg.Tx) error {
			_, err := tx.ExecContext(s.ctx, `update deviation set state = $3, evaluator = 'pcqi' where plant_id = $1 and deviation_id = $2`, tx.Plant, d.ID, state)
			return err
		}))
	}
	before := s.now(d).State
	for _, state := range []State{Closed, CancelledInError} {
		is(state)
		s.adopts(housePolicy + "# " + string(state) + "\n")
		if s.now(d).RetraceDue != nil {
			t.Errorf("a deviation that is %s is due", state)
		}
		if w := said(everythingDestroyed); w.Rerouted != 0 {
			t.Errorf("%s: %d open deviations routed otherwise, want 0", state, w.Rerouted)
		}
	}
	is(before) // as the trail tells it
}

// TestTwoSignOneDraftAtOnce: it is put in force once, and a draft that is proposed
// at the same time changes the version that is in force then.
func TestTwoSignOneDraftAtOnce(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.employ()
	r := s.drafts(stricter)
	s.must(s.signs(disposition.QualifiedPerson, r))
	var wg sync.WaitGroup
	errs := make([]error, 4)
	for i := range 3 {
		wg.Go(func() { errs[i] = s.signs(disposition.PlantManager, r) })
	}
	wg.Go(func() { _, errs[3] = s.ProposePolicy(s.ctx, s.sc, []byte(stricter+"onset: gradual\n"), 1) })
	wg.Wait()
	done := 0
	for _, err := range errs[:3] {
		if err == nil {
			done++
		}
	}
	var f *fault.Error
	switch outdated := errs[3] == nil && done == 0; { // it came first
	case outdated && s.inForce() == 1:
	case done == 1 && s.inForce() == 2 && errors.As(errs[3], &f) && f.Kind == fault.Stale:
	default:
		t.Errorf("version %d is in force; %v", s.inForce(), errs)
	}
}
