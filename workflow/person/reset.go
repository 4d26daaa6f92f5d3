package person

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// resetStands is how long a second administrator may do what a first has asked for.
const resetStands = 24 * time.Hour

// How the acts of administrators call the two halves of a reset.
const (
	ResetAsked = "person.reset-asked"
	ResetDone  = "person.reset"
)

// Resetting is what became of the wish to reset somebody's password.
type Resetting struct {
	OneTime string    // shown this once; empty: a second administrator has to ask for the same
	Until   time.Time // by when they have to; zero: nobody has to
	AskedBy string    // the first of two administrators; empty: one was enough
}

// Action is how the acts of administrators and the trail call it.
func (r Resetting) Action() string {
	if r.OneTime == "" {
		return ResetAsked
	}
	return ResetDone
}

// Reset takes somebody's password, ends their sessions and returns a new one-time
// code. Whoever resets never knows a password; of somebody who signs, or administers,
// it takes two administrators, of whom only the second is shown the code, so that
// nobody takes a signer's place alone (design notes on signing, E-026). The first one's
// wish changes nothing else: the person works on. The command line is one: who runs
// it has the database in hand. The caller records the act of each.
func Reset(ctx context.Context, tx *pg.Tx, code string) (Resetting, error) {
	p, err := own(ctx, tx, code)
	if err != nil {
		return Resetting{}, err
	}
	var r Resetting
	if tx.By.Session != "" {
		if r, err = needsAnother(ctx, tx, p); err != nil || !r.Until.IsZero() {
			return r, err
		}
	}
	const forget = `update person_credential set password = null, failed_at = '{}', locked_until = null where plant_id = $1 and person_id = $2`
	if _, err := tx.ExecContext(ctx, forget, tx.Plant, p.ID); err != nil {
		return Resetting{}, fmt.Errorf("reset: %w", err)
	}
	if err := endSessions(ctx, tx, p.ID); err != nil {
		return Resetting{}, err
	}
	if err := touched(ctx, tx, p.ID); err != nil {
		return Resetting{}, err
	}
	r.OneTime, err = newCode(ctx, tx, p.ID)
	return r, err
}

// needsAnother says by when a second administrator has to ask for the reset of
// somebody; zero: it takes one, or the first is named.
func needsAnother(ctx context.Context, tx *pg.Tx, p row) (r Resetting, err error) {
	two, err := takesTwo(ctx, tx, p.ID)
	if err != nil || !two {
		return r, err
	}
	first, err := resetAsked(ctx, tx, p.Code)
	if err != nil {
		return r, err
	}
	if first == "" || first == tx.By.ID {
		return Resetting{Until: tx.Now.Add(resetStands)}, nil
	}
	return Resetting{AskedBy: first}, nil
}

// takesTwo says whether somebody ever had, or was given for later, a role in which
// they sign or administer, their own or another's.
func takesTwo(ctx context.Context, tx *pg.Tx, id int) (two bool, err error) {
	const q = `select exists (select from person_role where plant_id = $1 and person_id = $2 and role not in ($3, $4)
			and (held_until is null or held_until > held_from))
		or exists (select from delegation where plant_id = $1 and deputy_id = $2 and role not in ($3, $4))`
	if err := tx.GetContext(ctx, &two, q, tx.Plant, id, disposition.Operator, disposition.Inspector); err != nil {
		return false, fmt.Errorf("reset: %w", err)
	}
	return two, nil
}

// resetAsked returns who has asked for the reset of somebody and still may; empty:
// nobody, too long ago, or it was done since.
func resetAsked(ctx context.Context, tx *pg.Tx, code string) (string, error) {
	var last struct {
		Person string    `db:"person"`
		Action string    `db:"action"`
		At     time.Time `db:"done_at"`
	}
	const q = `select person, action, done_at from administration_act where plant_id = $1 and subject = $2 and action in ($3, $4)
		order by act_id desc limit 1`
	err := tx.GetContext(ctx, &last, q, tx.Plant, code, ResetAsked, ResetDone)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return "", nil
	case err != nil:
		return "", fmt.Errorf("reset: %w", err)
	case last.Action == ResetDone, !last.At.Add(resetStands).After(tx.Now):
		return "", nil
	}
	_, err = CapacityOf(ctx, tx, last.Person, disposition.Administrator)
	if fault.KindOf(err) == fault.Forbidden {
		return "", nil // they administer no more
	}
	return last.Person, err
}
