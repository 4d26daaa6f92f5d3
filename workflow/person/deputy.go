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

// Delegation is that one person stands in for another in a role for some time.
type Delegation struct {
	Person        string // whose role it is
	Deputy        string
	Role          disposition.Role
	From          time.Time // zero: now
	Until         time.Time
	Reason        string
	Qualification Qualification // the deputy's own, where the role needs one
}

// Delegate records a delegation. Only who holds a role themselves is stood in
// for, so that there is never more than one person in between; what the two did
// in a deviation is held against both.
func Delegate(ctx context.Context, tx *pg.Tx, d Delegation) error {
	if d.From.IsZero() {
		d.From = tx.Now
	}
	if err := d.check(tx.Now); err != nil {
		return err
	}
	both := map[string]row{}
	for _, code := range inOrder(d.Person, d.Deputy) {
		p, err := own(ctx, tx, code)
		if err != nil {
			return err
		}
		both[code] = p
	}
	if err := d.fits(ctx, tx, both[d.Person].ID, both[d.Deputy].ID); err != nil {
		return err
	}
	const add = `insert into delegation (plant_id, person_id, deputy_id, role, starts_at, ends_at, reason,
		qualification, qualification_reference, qualification_until, made_at, made_by)
		values ($1, $2, $3, $4, $5, $6, $7, nullif($8, ''), nullif($9, ''), $10, $11, $12)`
	q := d.Qualification
	_, err := tx.ExecContext(ctx, add, tx.Plant, both[d.Person].ID, both[d.Deputy].ID, d.Role, d.From, d.Until, d.Reason,
		q.Kind, q.Reference, q.Until, tx.Now, tx.By.ID)
	if err != nil {
		return fmt.Errorf("delegate: %w", err)
	}
	return touched(ctx, tx, both[d.Deputy].ID)
}

// inOrder sorts what is locked one after the other.
func inOrder(codes ...string) []string {
	slices.Sort(codes)
	return codes
}

// check refuses a delegation that contradicts itself, or of a role that is not
// lent.
func (d Delegation) check(now time.Time) error {
	switch {
	case !slices.Contains(Roles, d.Role):
		return fault.New(fault.Invalid, "unknown-word", "there is no role %s; there are %s", d.Role, fault.Words(Roles)).In("role")
	case d.Role == disposition.Administrator, d.Role == disposition.Inspector:
		return fault.New(fault.Refused, "role-conflict", "nobody stands in for an %s: grant the role to another", words(d.Role)).In("role")
	case d.Person == d.Deputy:
		return fault.New(fault.Invalid, "own-deputy", "nobody stands in for themselves").In("deputy")
	case !d.Until.After(d.From), !d.Until.After(now):
		return fault.New(fault.Invalid, "out-of-range", "the delegation ends before it begins, or has ended already").In("until")
	case d.From.Before(now):
		return fault.New(fault.Invalid, "out-of-range", "a delegation begins now or later, never in the past").In("from")
	case strings.TrimSpace(d.Reason) == "" || len(d.Reason) > 500:
		return fault.New(fault.Invalid, "reason-missing", "a delegation needs a reason of at most 500 characters").In("reason")
	}
	return d.Qualification.check(d.Role, d.From)
}

// fits refuses a role that is not there to be lent, or a deputy who may not have
// it.
func (d Delegation) fits(ctx context.Context, tx *pg.Tx, person, deputy int) error {
	theirs, err := everHeld(ctx, tx, person)
	if err != nil {
		return err
	}
	held := func(t tenure) bool { return t.Role == d.Role && t.meets(d.From, &d.Until) }
	if !slices.ContainsFunc(theirs, held) {
		return fault.New(fault.Refused, "role-not-held", "%s is no %s at that time", d.Person, words(d.Role)).In("person")
	}
	others, err := everHeld(ctx, tx, deputy)
	if err != nil {
		return err
	}
	for _, t := range others {
		apart := t.Role == disposition.Administrator || t.Role == disposition.Inspector
		if apart && t.meets(d.From, &d.Until) {
			return fault.New(fault.Refused, "role-conflict", "%s is an %s, who signs nothing for anybody", d.Deputy, words(t.Role)).In("deputy")
		}
	}
	administered, err := hasAdministered(ctx, tx, d.Deputy)
	if err == nil && administered {
		return fault.New(fault.Refused, "role-conflict", "%s has administered people or roles and signs nothing for anybody", d.Deputy).In("deputy")
	}
	return err
}
