package person

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
	"lastgood/workflow/actor"
	"lastgood/workflow/pg"
)

func TestWhichRolesAreGranted(t *testing.T) {
	t.Parallel()
	pcqi := Qualification{Kind: "PCQI", Reference: "course 7"}
	for _, c := range []struct {
		name string
		has  []Grant
		g    Grant
		rule string
	}{
		{"an unknown role", nil, Grant{Role: "chef"}, "unknown-word"},
		{"from the past", nil, Grant{Role: disposition.Verifier, From: *hours(-1)}, "out-of-range"},
		{"ends before it begins", nil, Grant{Role: disposition.Verifier, From: *hours(2), Until: hours(1)}, "out-of-range"},
		{"without its qualification", nil, Grant{Role: disposition.QualifiedPerson}, "qualification-missing"},
		{"without a reference", nil, Grant{Role: disposition.ProcessAuthority, Qualification: Qualification{Kind: "PCQI"}}, "qualification-missing"},
		{"a qualification that has run out", nil, Grant{Role: disposition.QualifiedPerson, Qualification: Qualification{"PCQI", "course 7", hours(0)}}, "out-of-range"},
		{"an end and no qualification", nil, Grant{Role: disposition.Verifier, Qualification: Qualification{Until: hours(9)}}, "qualification-missing"},
		{"with its qualification", nil, Grant{Role: disposition.QualifiedPerson, Qualification: pcqi}, ""},
		{"two roles", []Grant{{Role: disposition.QALead}}, Grant{Role: disposition.Verifier}, ""},
		{"the same twice", []Grant{{Role: disposition.QALead}}, Grant{Role: disposition.QALead}, "role-held"},
		{"the same later", []Grant{{Role: disposition.QALead, Until: hours(2)}}, Grant{Role: disposition.QALead, From: *hours(2)}, ""},
		{"an overlap", []Grant{{Role: disposition.QALead, From: *hours(3)}}, Grant{Role: disposition.QALead, Until: hours(4)}, "role-held"},
		// design notes on signing, S-6
		{"an administrator as verifier", []Grant{{Role: disposition.Administrator}}, Grant{Role: disposition.Verifier}, "role-conflict"},
		{"a verifier as administrator", []Grant{{Role: disposition.Verifier}}, Grant{Role: disposition.Administrator}, "role-conflict"},
		{"a former verifier as administrator", []Grant{{Role: disposition.Verifier, Until: hours(2)}},
			Grant{Role: disposition.Administrator, From: *hours(3)}, "role-conflict"},
		{"an administrator for now, who administers nothing", []Grant{{Role: disposition.Administrator, Until: hours(2)}},
			Grant{Role: disposition.Verifier, From: *hours(2)}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			h := newHouse(t)
			h.joins("p-1")
			for _, g := range c.has {
				h.must(h.grants("p-1", g))
			}
			h.refused(c.name, h.grants("p-1", c.g), c.rule)
		})
	}
}

// TestWhoAdministeredSignsNothing: not in a role of their own later, and not for
// anybody (design notes on signing, S-6, E-052).
func TestWhoAdministeredSignsNothing(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.joins("admin-1", disposition.Administrator)
	h.joins("qa-1", disposition.QALead)
	sc := h.sc
	sc.By = actor.Actor{ID: "admin-1", Kind: actor.Person}
	h.must(h.db.InTx(t.Context(), sc, func(tx *pg.Tx) error { return Administered(t.Context(), tx, "person.added", "qa-2") }))
	sc.By = actor.Actor{ID: "key historian", Kind: actor.Key}
	h.must(h.db.InTx(t.Context(), sc, func(tx *pg.Tx) error { return Administered(t.Context(), tx, "person.added", "qa-2") }))
	lend := Delegation{Person: "qa-1", Deputy: "admin-1", Role: disposition.QALead, Until: *hours(5), Reason: "leave"}
	h.refused("an administrator stands in", h.lends(lend), "role-conflict")
	h.must(h.in(func(tx *pg.Tx) error { return EndRole(t.Context(), tx, "admin-1", disposition.Administrator) }))
	h.refused("a former administrator stands in", h.lends(lend), "role-conflict")
	h.refused("a former administrator verifies", h.grants("admin-1", Grant{Role: disposition.Verifier}), "role-conflict")
	var who []string
	h.must(h.in(func(tx *pg.Tx) (err error) {
		who, err = Administrators(t.Context(), tx)
		return err
	}))
	if d := cmp.Diff([]string{"admin-1"}, who); d != "" {
		t.Error(d)
	}
}

func TestRoleTakenBackBeforeItBegan(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.joins("p-1")
	h.must(h.grants("p-1", Grant{Role: disposition.Verifier, From: *hours(5)}))
	end := func() error {
		return h.in(func(tx *pg.Tx) error { return EndRole(t.Context(), tx, "p-1", disposition.Verifier) })
	}
	h.must(end())
	*h.now = *hours(6)
	_, err := h.capacity("p-1", disposition.Verifier)
	h.refused("it never began", err, "role-not-held")
	h.refused("end it again", end(), "role-not-held")
	h.must(h.grants("p-1", Grant{Role: disposition.Administrator})) // it was never held
}

// TestCapacity: in which capacity somebody acts, hour by hour.
func TestCapacity(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.joins("pcqi-1", disposition.QALead)
	h.must(h.grants("pcqi-1", Grant{disposition.QualifiedPerson, *hours(1), hours(8), Qualification{"PCQI", "course 7", hours(4)}}))
	h.joins("sup-1", disposition.LineSupervisor)
	h.must(h.lends(Delegation{"pcqi-1", "sup-1", disposition.QualifiedPerson, *hours(2), *hours(20), "leave", Qualification{"9 CFR 417.7", "course 9", nil}}))
	seen := map[int]string{}
	for hour := range 10 {
		*h.now = *hours(hour)
		own, err := h.capacity("pcqi-1", disposition.QualifiedPerson)
		said := own.Qualification
		if err != nil {
			said = ruleOf(err)
		}
		theirs, err := h.capacity("sup-1", disposition.QualifiedPerson)
		deputy := fmt.Sprint(theirs.For, " ", theirs.Qualification)
		if err != nil {
			deputy = ruleOf(err)
		}
		seen[hour] = said + " / " + deputy
	}
	const none, lapsed = "role-not-held", "qualification-invalid"
	const pcqi, stands = "PCQI, course 7", "[pcqi-1] 9 CFR 417.7, course 9"
	want := map[int]string{0: none + " / " + none, 1: pcqi + " / " + none, 2: pcqi + " / " + stands, 3: pcqi + " / " + stands,
		4: lapsed + " / " + stands, 5: lapsed + " / " + stands, 6: lapsed + " / " + stands, 7: lapsed + " / " + stands,
		8: none + " / " + none, 9: none + " / " + none}
	if d := cmp.Diff(want, seen); d != "" {
		t.Error(d)
	}
	*h.now = *hours(5)
	got, err := h.capacity("sup-1", disposition.LineSupervisor)
	h.must(err)
	if d := cmp.Diff(Capacity{Person: "sup-1", Name: "Person sup-1", Title: "Title of sup-1", Role: disposition.LineSupervisor}, got); d != "" {
		t.Error(d)
	}
	_, err = h.capacity("pcqi-1", disposition.QualifiedPerson)
	if err == nil || !strings.Contains(err.Error(), "ran out on 2025-03-04") {
		t.Errorf("it does not say when: %v", err)
	}
	_, err = h.capacity("sup-1", disposition.PlantManager)
	if err == nil || !strings.Contains(err.Error(), "acts only as line supervisor, qualified person") {
		t.Errorf("it does not say what they are: %v", err)
	}
}

func TestHolding(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.joins("a", disposition.QALead)
	h.joins("b", disposition.QALead)
	h.joins("c", disposition.Verifier)
	h.must(h.lends(Delegation{Person: "a", Deputy: "b", Role: disposition.QALead, Until: *hours(9), Reason: "leave"}))
	h.must(h.lends(Delegation{Person: "a", Deputy: "c", Role: disposition.QALead, Until: *hours(9), Reason: "leave"}))
	var list []Capacity
	h.must(h.in(func(tx *pg.Tx) (err error) {
		list, err = Holding(t.Context(), tx, disposition.QALead)
		return err
	}))
	var said []string
	for _, c := range list {
		said = append(said, c.Person+strings.Join(c.For, ","))
	}
	if d := cmp.Diff([]string{"a", "b", "ca"}, said); d != "" { // b in their own right, c for a
		t.Error(d)
	}
}

func TestWhoStandsInForWhom(t *testing.T) {
	t.Parallel()
	h := newHouse(t)
	h.joins("qa-1", disposition.QALead, disposition.QualifiedPerson)
	h.joins("qa-2", disposition.Verifier)
	h.joins("agency-1", disposition.Inspector)
	h.joins("admin-1", disposition.Administrator)
	good := Delegation{Person: "qa-1", Deputy: "qa-2", Role: disposition.QALead, Until: *hours(5), Reason: "leave"}
	for name, c := range map[string]struct {
		change func(*Delegation)
		rule   string
	}{
		"good":                      {func(*Delegation) {}, ""},
		"no such role":              {func(d *Delegation) { d.Role = "chef" }, "unknown-word"},
		"a role that they lack":     {func(d *Delegation) { d.Role = disposition.PlantManager }, "role-not-held"},
		"themselves":                {func(d *Delegation) { d.Deputy = "qa-1" }, "own-deputy"},
		"the past":                  {func(d *Delegation) { d.From = *hours(-1) }, "out-of-range"},
		"no time":                   {func(d *Delegation) { d.Until = start }, "out-of-range"},
		"no reason":                 {func(d *Delegation) { d.Reason = " " }, "reason-missing"},
		"unqualified":               {func(d *Delegation) { d.Role = disposition.QualifiedPerson }, "qualification-missing"},
		"nobody":                    {func(d *Delegation) { d.Deputy = "qa-9" }, "unknown-person"},
		"an inspector":              {func(d *Delegation) { d.Deputy = "agency-1" }, "role-conflict"},
		"an administrator":          {func(d *Delegation) { d.Deputy = "admin-1" }, "role-conflict"},
		"for an administrator":      {func(d *Delegation) { d.Person, d.Role = "admin-1", disposition.Administrator }, "role-conflict"},
		"a role that they stand in": {func(d *Delegation) { d.Person, d.Deputy = "qa-2", "qa-1" }, "role-not-held"},
		"qualified in their own name": {func(d *Delegation) {
			d.Role, d.Qualification = disposition.QualifiedPerson, Qualification{"PCQI", "course 8", nil}
		}, ""},
	} {
		d := good
		c.change(&d)
		h.refused(name, h.lends(d), c.rule)
	}
}

// TestEveryRoleIsOneOfThePolicys: what signs by the policy's table can be granted.
func TestEveryRoleIsOneOfThePolicys(t *testing.T) {
	t.Parallel()
	if len(Roles) != 12 || len(slices.Compact(slices.Sorted(slices.Values(Roles)))) != 12 {
		t.Errorf("%d roles: %v", len(Roles), Roles)
	}
	for _, r := range Roles {
		if words(r) == "" || strings.Contains(words(r), "_") {
			t.Errorf("%s is said %q", r, words(r))
		}
	}
}
