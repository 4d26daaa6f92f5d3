package person

import (
	"errors"
	"fmt"
	"os"
	"testing"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// start is when every story here begins.
var start = time.Date(2025, 3, 4, 12, 0, 0, 0, time.UTC)

// house is an invented plant with a neighbour, on a database of their own, and a
// clock that the test sets.
type house struct {
	*testing.T
	db        *pg.DB
	now       *time.Time
	sc, other pg.Scope
}

func newHouse(t *testing.T) *house {
	t.Helper()
	now := start
	db, err := pg.Open(t.Context(), pgtest.DB(t).App, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	h := &house{T: t, db: db, now: &now}
	for name, sc := range map[string]*pg.Scope{"Tallow Mere Kitchens": &h.sc, "Oxlip Quay Dairy": &h.other} {
		id, err := db.CreatePlant(t.Context(), name, "UTC", nil)
		if err != nil {
			t.Fatal(err)
		}
		*sc = pg.Scope{Plant: id, By: actor.Actor{ID: "command line", Kind: actor.Person}}
	}
	return h
}

// in runs f in a transaction of the plant.
func (h *house) in(f func(*pg.Tx) error) error {
	h.Helper()
	return h.db.InTx(h.Context(), h.sc, f)
}

func (h *house) must(err error) {
	h.Helper()
	if err != nil {
		h.Fatal(err)
	}
}

// joins adds a person with roles; those that need a qualification have one.
func (h *house) joins(code string, roles ...disposition.Role) {
	h.Helper()
	h.must(h.in(func(tx *pg.Tx) error {
		_, err := Add(h.Context(), tx, Identity{code, "Person " + code, "Title of " + code})
		return err
	}))
	for _, r := range roles {
		g := Grant{Role: r}
		if NeedsQualification(r) {
			g.Qualification = Qualification{Kind: "PCQI", Reference: "course 7"}
		}
		h.must(h.grants(code, g))
	}
}

func (h *house) grants(code string, g Grant) error {
	h.Helper()
	return h.in(func(tx *pg.Tx) error { return GrantRole(h.Context(), tx, code, g) })
}

func (h *house) lends(d Delegation) error {
	h.Helper()
	return h.in(func(tx *pg.Tx) error { return Delegate(h.Context(), tx, d) })
}

func (h *house) capacity(code string, role disposition.Role) (c Capacity, err error) {
	h.Helper()
	err = h.in(func(tx *pg.Tx) error {
		c, err = CapacityOf(h.Context(), tx, code, role)
		return err
	})
	return c, err
}

// refused checks that an error is a fault of a rule; empty: none.
func (h *house) refused(what string, err error, rule string) {
	h.Helper()
	var f *fault.Error
	switch {
	case rule == "" && err != nil, rule != "" && (!errors.As(err, &f) || f.Rule != rule):
		h.Errorf("%s: %v, want %q", what, err, rule)
	}
}

func hours(n int) *time.Time {
	at := start.Add(time.Duration(n) * time.Hour)
	return &at
}

// ruleOf is the rule of a fault.
func ruleOf(err error) string {
	var f *fault.Error
	if !errors.As(err, &f) {
		return fmt.Sprint(err)
	}
	return f.Rule
}
