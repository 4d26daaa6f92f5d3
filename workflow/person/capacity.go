package person

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Capacity is in what capacity somebody acts.
type Capacity struct {
	Person, Name, Title string
	Role                disposition.Role
	Qualification       string   // kind and reference; empty: none
	For                 []string // whom they stand in for; empty: the role is their own
}

// Held is a role that somebody may act in, now or later.
type Held struct {
	Role          disposition.Role
	For           string // whom they stand in for; empty: the role is their own
	From          time.Time
	Until         *time.Time
	Qualification Qualification
}

// capacity is a row of person_capacity.
type capacity struct {
	Code      string           `db:"code"`
	Name      string           `db:"name"`
	Title     string           `db:"title"`
	Role      disposition.Role `db:"role"`
	For       string           `db:"stands_in_for"`
	From      time.Time        `db:"held_from"`
	Until     *time.Time       `db:"held_until"`
	Kind      string           `db:"qualification"`
	Reference string           `db:"qualification_reference"`
	ValidTo   *time.Time       `db:"qualification_until"`
}

const capacities = `select code, name, title, role, coalesce(stands_in_for, '') as stands_in_for, held_from, held_until,
	coalesce(qualification, '') as qualification, coalesce(qualification_reference, '') as qualification_reference, qualification_until
	from person_capacity where plant_id = $1 `

// actingNow are the capacities of a moment, a person's own roles first.
const actingNow = capacities + `and held_from <= $2 and (held_until is null or held_until > $2) `

const ownFirst = ` order by code, stands_in_for nulls first, held_from`

// CapacityOf returns in what capacity somebody may act in a role now: their own,
// before that of somebody for whom they stand in. fault.Forbidden, "role-not-held":
// in none; "qualification-invalid": the role needs a qualification and theirs has
// run out.
func CapacityOf(ctx context.Context, tx *pg.Tx, code string, role disposition.Role) (Capacity, error) {
	var all []capacity
	if err := tx.SelectContext(ctx, &all, actingNow+`and code = $3`+ownFirst, tx.Plant, tx.Now, code); err != nil {
		return Capacity{}, fmt.Errorf("capacity: %w", err)
	}
	var lapsed *capacity
	for i, c := range all {
		switch {
		case c.Role != role:
		case c.isQualified(tx.Now):
			return c.capacity(), nil
		case lapsed == nil:
			lapsed = &all[i]
		}
	}
	if lapsed != nil {
		return Capacity{}, fault.New(fault.Forbidden, "qualification-invalid", "%s", lapsed.lapse())
	}
	return Capacity{}, fault.New(fault.Forbidden, "role-not-held", "this takes a %s, and %s %s: an administrator grants roles", words(role), code, holds(all))
}

// Holding returns who may act in a role now.
func Holding(ctx context.Context, tx *pg.Tx, role disposition.Role) ([]Capacity, error) {
	var all []capacity
	if err := tx.SelectContext(ctx, &all, actingNow+`and role = $3`+ownFirst, tx.Plant, tx.Now, role); err != nil {
		return nil, fmt.Errorf("holders: %w", err)
	}
	var out []Capacity
	for _, c := range all {
		again := len(out) > 0 && out[len(out)-1].Person == c.Code // as themselves already, or for another
		if !again && c.isQualified(tx.Now) {
			out = append(out, c.capacity())
		}
	}
	return out, nil
}

// isQualified says whether the role needs no qualification, or there is one in
// force.
func (c capacity) isQualified(now time.Time) bool {
	return !NeedsQualification(c.Role) || c.Kind != "" && (c.ValidTo == nil || c.ValidTo.After(now))
}

func (c capacity) capacity() Capacity {
	out := Capacity{Person: c.Code, Name: c.Name, Title: c.Title, Role: c.Role}
	if c.Kind != "" {
		out.Qualification = c.Kind + ", " + c.Reference
	}
	if c.For != "" {
		out.For = []string{c.For}
	}
	return out
}

// lapse says how a qualification is not in force.
func (c capacity) lapse() string {
	if c.ValidTo == nil {
		return fmt.Sprintf("%s is a %s without a qualification: an administrator records it", c.Code, words(c.Role))
	}
	return fmt.Sprintf("the qualification of %s as a %s (%s, %s) ran out on %s: an administrator records the new one",
		c.Code, words(c.Role), c.Kind, c.Reference, c.ValidTo.UTC().Format(time.DateOnly))
}

// holds says in which roles somebody acts.
func holds(all []capacity) string {
	var list []string
	for _, c := range all {
		if w := words(c.Role); !slices.Contains(list, w) {
			list = append(list, w)
		}
	}
	if len(list) == 0 {
		return "holds no role now"
	}
	return "acts only as " + strings.Join(list, ", ")
}

// words is a role as a person says it.
func words(r disposition.Role) string {
	switch r {
	case disposition.QALead:
		return "QA lead"
	case disposition.ProcessAuthority:
		return "processing authority"
	}
	return strings.ReplaceAll(string(r), "_", " ")
}
