package person

import (
	"context"
	"fmt"
	"slices"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Roles are all in which somebody may act.
var Roles = []disposition.Role{disposition.LineSupervisor, disposition.CalibrationTechnician, disposition.QALead, disposition.QualifiedPerson,
	disposition.ProcessAuthority, disposition.PlantManager, disposition.RegulatoryLiaison, disposition.Verifier, disposition.Reviewer,
	disposition.Operator, disposition.Inspector, disposition.Administrator}

// qualified are the roles that need a qualification: 21 CFR 117.180 (preventive
// controls qualified individual), 9 CFR 417.7, 21 CFR 123.10, and the processing
// authority of 21 CFR 113.83 (all from memory).
var qualified = []disposition.Role{disposition.QualifiedPerson, disposition.ProcessAuthority}

// NeedsQualification says whether nobody acts in a role without a qualification.
func NeedsQualification(r disposition.Role) bool { return slices.Contains(qualified, r) }

// Qualification is what somebody is qualified by. The zero value is none.
type Qualification struct {
	Kind      string // PCQI, 9 CFR 417.7, 21 CFR 123.10, processing authority, …
	Reference string // the certificate, the course, the letter
	Until     *time.Time
}

// Grant is a role to be given to somebody.
type Grant struct {
	Role          disposition.Role
	From          time.Time // zero: now
	Until         *time.Time
	Qualification Qualification
}

// GrantRole gives somebody a role. An administrator holds no other role, and who
// has held another administers nothing (design notes on signing, S-6: whoever
// administers users or roles signs nothing, over the whole history).
func GrantRole(ctx context.Context, tx *pg.Tx, code string, g Grant) error {
	if g.From.IsZero() {
		g.From = tx.Now
	}
	if err := g.check(tx.Now); err != nil {
		return err
	}
	p, err := own(ctx, tx, code)
	if err != nil {
		return err
	}
	held, err := everHeld(ctx, tx, p.ID)
	if err != nil {
		return err
	}
	administered, err := hasAdministered(ctx, tx, code)
	if err != nil {
		return err
	}
	if err := g.beside(code, held, administered); err != nil {
		return err
	}
	const add = `insert into person_role (plant_id, person_id, role, held_from, held_until,
		qualification, qualification_reference, qualification_until, granted_at, granted_by)
		values ($1, $2, $3, $4, $5, nullif($6, ''), nullif($7, ''), $8, $9, $10)`
	q := g.Qualification
	if _, err := tx.ExecContext(ctx, add, tx.Plant, p.ID, g.Role, g.From, g.Until, q.Kind, q.Reference, q.Until, tx.Now, tx.By.ID); err != nil {
		return fmt.Errorf("grant role: %w", err)
	}
	return touched(ctx, tx, p.ID)
}

// check refuses a grant that contradicts itself.
func (g Grant) check(now time.Time) error {
	switch {
	case !slices.Contains(Roles, g.Role):
		return fault.New(fault.Invalid, "unknown-word", "there is no role %s; there are %s", g.Role, fault.Words(Roles)).In("role")
	case g.Until != nil && !g.Until.After(g.From):
		return fault.New(fault.Invalid, "out-of-range", "the role ends before it begins").In("until")
	case g.Until != nil && !g.Until.After(now):
		return fault.New(fault.Invalid, "out-of-range", "the role would have ended already").In("until")
	case g.From.Before(now):
		return fault.New(fault.Invalid, "out-of-range", "a role is held from now or later, never from the past").In("from")
	}
	return g.Qualification.check(g.Role, g.From)
}

// check refuses a qualification that is half given, or that the role needs and
// nobody gives.
func (q Qualification) check(role disposition.Role, from time.Time) error {
	none := q.Kind == "" && q.Reference == ""
	switch {
	case none && NeedsQualification(role):
		return fault.New(fault.Invalid, "qualification-missing", "a %s needs a qualification: what it is, and its reference", words(role)).In("qualification")
	case none && q.Until == nil:
		return nil
	case !plain(q.Kind, 100) || !plain(q.Reference, 200):
		return fault.New(fault.Invalid, "qualification-missing", "a qualification has a kind and a reference, each one line").In("qualification")
	case q.Until != nil && !q.Until.After(from):
		return fault.New(fault.Invalid, "out-of-range", "the qualification would have run out already").In("qualification.valid_until")
	}
	return nil
}

// beside refuses a role that is held already, or that does not go with what
// somebody holds, held or did.
func (g Grant) beside(code string, held []tenure, administered bool) error {
	apart := fault.New(fault.Refused, "role-conflict", "%s administers people and roles, or did, and signs nothing: an administrator holds no other role", code).In("role")
	if administered && g.Role != disposition.Administrator {
		return apart
	}
	for _, h := range held {
		switch {
		case h.Role == g.Role && h.meets(g.From, g.Until):
			return fault.New(fault.Conflict, "role-held", "%s is a %s at that time already: end that first", code, words(g.Role)).In("role")
		case h.Role == g.Role, h.Until != nil && !h.Until.After(h.From): // taken back before it began
		case g.Role == disposition.Administrator:
			return fault.New(fault.Refused, "role-conflict", "%s is or was a %s, and who administers people and roles signs nothing: name somebody else", code, words(h.Role)).In("role")
		case h.Role == disposition.Administrator && h.meets(g.From, g.Until):
			return apart
		}
	}
	return nil
}

// tenure is a role that somebody holds, held or will hold.
type tenure struct {
	ID    int64            `db:"role_id"`
	Role  disposition.Role `db:"role"`
	From  time.Time        `db:"held_from"`
	Until *time.Time       `db:"held_until"`
}

// meets says whether a tenure has any time in common with another.
func (t tenure) meets(from time.Time, until *time.Time) bool {
	return (t.Until == nil || from.Before(*t.Until)) && (until == nil || t.From.Before(*until)) && (t.Until == nil || t.From.Before(*t.Until))
}

func everHeld(ctx context.Context, tx *pg.Tx, id int) (list []tenure, err error) {
	const q = `select role_id, role, held_from, held_until from person_role where plant_id = $1 and person_id = $2 order by role_id`
	err = tx.SelectContext(ctx, &list, q, tx.Plant, id)
	return list, err
}

// EndRole ends a role now, or takes back one that has not begun.
func EndRole(ctx context.Context, tx *pg.Tx, code string, role disposition.Role) error {
	p, err := own(ctx, tx, code)
	if err != nil {
		return err
	}
	const end = `update person_role set held_until = greatest(held_from, $4)
		where plant_id = $1 and person_id = $2 and role = $3 and (held_until is null or held_until > $4)`
	res, err := tx.ExecContext(ctx, end, tx.Plant, p.ID, role, tx.Now)
	if err != nil {
		return fmt.Errorf("end role: %w", err)
	}
	if n, _ := res.RowsAffected(); n == 0 {
		return fault.New(fault.NotFound, "role-not-held", "%s is no %s", code, words(role))
	}
	return touched(ctx, tx, p.ID)
}
