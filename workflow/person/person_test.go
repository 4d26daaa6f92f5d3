package person

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

func TestWhoIsAdded(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.joins("qa-1", disposition.QALead)
	h.joins("left-1")
	h.must(h.in(func(tx *pg.Tx) error { return Depart(t.Context(), tx, "left-1", tx.Now) }))
	for _, c := range []struct {
		Identity
		rule string
	}{
		{Identity{"", "A", "B"}, "bad-code"}, {Identity{" qa-2", "A", "B"}, "bad-code"}, {Identity{"qa\n2", "A", "B"}, "bad-code"},
		{Identity{strings.Repeat("x", 51), "A", "B"}, "bad-code"},
		{Identity{"Command Line", "A", "B"}, "bad-code"}, {Identity{"lastgood", "A", "B"}, "bad-code"}, {Identity{"key historian", "A", "B"}, "bad-code"},
		{Identity{"qa-2", "", "B"}, "bad-name"}, {Identity{"qa-2", "A", " "}, "bad-title"},
		{Identity{"qa-1", "A", "B"}, "duplicate"}, {Identity{"QA-1", "A", "B"}, "duplicate"},
		{Identity{"left-1", "Somebody Else", "B"}, "duplicate"}, // design notes on signing, E-024
		{Identity{"qa-2", "A. B. Sample", "QA lead"}, ""},
	} {
		h.refused(c.Code, h.in(func(tx *pg.Tx) error {
			_, err := Add(t.Context(), tx, c.Identity)
			return err
		}), c.rule)
	}
	h.must(h.db.InTx(t.Context(), h.other, func(tx *pg.Tx) error {
		_, err := Add(t.Context(), tx, Identity{"qa-1", "Somebody Else", "QA lead"})
		return err
	})) // another plant's codes are its own
}

// TestNobodyIsRenamed: the application's own role cannot change a code, nor delete
// a person (design notes on signing, E-024).
func TestNobodyIsRenamed(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.joins("qa-1")
	for _, q := range []string{`update person set code = 'x' where plant_id = $1`, `update person set name = 'x' where plant_id = $1`,
		`delete from person where plant_id = $1`, `delete from person_role where plant_id = $1`, `delete from administration_act where plant_id = $1`,
		`update administration_act set person = 'x' where plant_id = $1`, `update delegation set deputy_id = 1 where plant_id = $1`} {
		err := h.in(func(tx *pg.Tx) error {
			_, err := tx.ExecContext(t.Context(), q, tx.Plant)
			return err
		})
		if err == nil {
			t.Errorf("%s was done", q)
		}
	}
}

func TestDeparture(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.joins("qa-1", disposition.QALead)
	h.joins("qa-2", disposition.Verifier)
	h.must(h.lends(Delegation{Person: "qa-1", Deputy: "qa-2", Role: disposition.QALead, Until: *hours(100), Reason: "leave"}))
	leave := func(code string, until time.Time) error {
		return h.in(func(tx *pg.Tx) error { return Depart(t.Context(), tx, code, until) })
	}
	h.must(leave("qa-1", *hours(10)))
	*h.now = *hours(9)
	_, err := h.capacity("qa-1", disposition.QALead)
	h.refused("before", err, "")
	_, err = h.capacity("qa-2", disposition.QALead)
	h.refused("their deputy before", err, "")
	*h.now = *hours(10)
	_, err = h.capacity("qa-1", disposition.QALead)
	h.refused("after", err, "role-not-held")
	_, err = h.capacity("qa-2", disposition.QALead)
	h.refused("their deputy after", err, "role-not-held")
	h.refused("again", leave("qa-1", *hours(20)), "departed")
	h.refused("a role after", h.grants("qa-1", Grant{Role: disposition.Verifier}), "departed")
	h.refused("nobody", leave("qa-9", *hours(20)), "unknown-person")
}

func TestList(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.joins("qa-1", disposition.QALead, disposition.QualifiedPerson)
	h.joins("qa-2")
	h.must(h.grants("qa-2", Grant{Role: disposition.Verifier, From: *hours(1), Until: hours(3)}))
	h.must(h.lends(Delegation{Person: "qa-1", Deputy: "qa-2", Role: disposition.QALead, From: *hours(1), Until: *hours(2), Reason: "leave"}))
	h.must(h.grants("qa-2", Grant{Role: disposition.Operator}))
	h.must(h.in(func(tx *pg.Tx) error { return EndRole(t.Context(), tx, "qa-2", disposition.Operator) }))
	list := func(sc pg.Scope, after string, limit int) (out []Person) {
		h.must(h.db.Read(t.Context(), sc, func(tx *pg.Tx) (err error) {
			out, err = List(t.Context(), tx, after, limit)
			return err
		}))
		return out
	}
	want := []Person{
		{Identity{"qa-1", "Person qa-1", "Title of qa-1"}, nil, 3, []Held{{disposition.QALead, "", start, nil, Qualification{}},
			{disposition.QualifiedPerson, "", start, nil, Qualification{Kind: "PCQI", Reference: "course 7"}}}},
		{Identity{"qa-2", "Person qa-2", "Title of qa-2"}, nil, 5, []Held{{disposition.QALead, "qa-1", *hours(1), hours(2), Qualification{}},
			{disposition.Verifier, "", *hours(1), hours(3), Qualification{}}}},
	}
	same := cmp.Comparer(func(a, b time.Time) bool { return a.Equal(b) })
	if d := cmp.Diff(want, list(h.sc, "", 0), same); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(want[1:], list(h.sc, "qa-1", 5), same); d != "" {
		t.Error(d)
	}
	if got := list(h.sc, "", 1); len(got) != 1 || got[0].Code != "qa-1" {
		t.Errorf("%v", got)
	}
	if got := list(h.other, "", 0); len(got) != 0 {
		t.Errorf("another plant sees %v", got)
	}
	h.must(h.db.Read(t.Context(), h.other, func(tx *pg.Tx) error {
		if _, err := CapacityOf(t.Context(), tx, "qa-1", disposition.QALead); !errors.Is(err, fault.Forbidden) {
			t.Errorf("in another plant qa-1 acts: %v", err)
		}
		holders, err := Holding(t.Context(), tx, disposition.QALead)
		if len(holders) != 0 {
			t.Errorf("another plant's: %v", holders)
		}
		return err
	}))
}
