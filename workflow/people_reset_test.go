package workflow

import (
	"strings"
	"testing"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
)

// resets asks for a reset and says what came of it: "asked", "done", or a rule.
func (l *lodge) resets(sc pg.Scope, code string) string {
	l.Helper()
	r, err := l.ResetPerson(l.Context(), sc, code)
	switch {
	case err != nil:
		return ruleIn(err)
	case r.OneTime == "" && r.Until.Equal(l.now.Add(24*time.Hour)):
		return "asked"
	case r.OneTime != "" && r.Until.IsZero():
		return "done"
	}
	return "neither"
}

// TestResetOfASignerTakesTwo: one administrator resets nobody who signs, by
// whatever role, and whoever does it is not the one who asked (design notes on
// signing, E-026).
func TestResetOfASignerTakesTwo(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	l.joined("qa-1", disposition.QALead)
	l.joined("op-1", disposition.Operator)
	l.joined("was-1", disposition.Reviewer)
	l.later(time.Minute)
	l.must(l.EndRole(t.Context(), l.sc, "was-1", disposition.Reviewer))
	for _, code := range []string{"admin-1", "admin-2", "admin-3"} {
		l.joined(code, disposition.Administrator)
	}
	_, one := l.enters("admin-1")
	_, two := l.enters("admin-2")
	works, qa := l.enters("qa-1")
	step := func(what string, sc pg.Scope, code, want string) {
		t.Helper()
		if got := l.resets(sc, code); got != want {
			t.Errorf("%s: %s, want %s", what, got, want)
		}
	}
	step("an operator", one, "op-1", "done")
	step("who signs nothing asks", qa, "op-1", "role-not-held")
	step("who signs no more", one, "was-1", "asked")
	step("an administrator", one, "admin-3", "asked")
	step("the first", one, "qa-1", "asked")
	l.must(l.shows(works)) // nothing has happened to them
	l.must(l.signIn(lodgePlant, "qa-1", goodPhrase))
	step("the first again", one, "qa-1", "asked")
	step("the second", two, "qa-1", "done")
	l.refused("the session before", l.shows(works), "session-ended")
	l.refused("the password before", l.signIn(lodgePlant, "qa-1", goodPhrase), "sign-in-refused")
	step("it is used up", one, "qa-1", "asked")
	step("an administrator, by the second", two, "admin-3", "done")
	for _, want := range []string{`"person.reset-asked"`, `"asked_by":"admin-1"`, `"second_administrator_until"`} {
		if got := l.trail(); !strings.Contains(got, want) {
			t.Errorf("the trail has no %s:\n%s", want, got)
		}
	}
}

// TestResetThatWasAskedEnds: after a day, and with the role of who asked.
func TestResetThatWasAskedEnds(t *testing.T) {
	t.Parallel()
	l := newLodge(t)
	l.joined("op-1", disposition.Operator)
	l.joined("qa-1", disposition.QALead)
	l.joined("admin-1", disposition.Administrator)
	l.joined("admin-2", disposition.Administrator)
	_, one := l.enters("admin-1")
	_, two := l.enters("admin-2")
	for _, c := range []struct {
		after time.Duration
		want  string
	}{{24*time.Hour - time.Second, "done"}, {24 * time.Hour, "asked"}} {
		if got := l.resets(one, "qa-1"); got != "asked" {
			t.Fatal(got)
		}
		l.later(c.after)
		if got := l.resets(two, "qa-1"); got != c.want {
			t.Errorf("after %s: %s", c.after, got)
		}
	}
	l.must(l.EndRole(t.Context(), l.sc, "admin-2", disposition.Administrator))
	if got := l.resets(one, "qa-1"); got != "asked" {
		t.Errorf("who asked administers no more: %s", got)
	}
	if got := l.resets(l.sc, "qa-1"); got != "done" {
		t.Errorf("at the command line: %s", got)
	}
	l.must(l.GrantRole(t.Context(), l.sc, "admin-2", grant(disposition.Administrator)))
	if got := l.resets(two, "qa-1"); got != "asked" {
		t.Errorf("the command line did it since: %s", got)
	}
	deputy := lends("qa-1", "op-1", l.now.Add(time.Hour))
	l.must(l.Delegate(t.Context(), l.sc, deputy))
	if got := l.resets(one, "op-1"); got != "asked" {
		t.Errorf("who signs for another: %s", got)
	}
}

func grant(r disposition.Role) person.Grant { return person.Grant{Role: r} }

// lends is that somebody stands in for a QA lead.
func lends(of, deputy string, until time.Time) person.Delegation {
	return person.Delegation{Person: of, Deputy: deputy, Role: disposition.QALead, Until: until, Reason: "leave"}
}
