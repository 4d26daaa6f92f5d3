// Package person owns the people of a plant: who they are, the roles in which
// they act and with what qualification, whom they stand in for, how they prove
// who they are, and their sessions.
//
// A person's code is what the trail and the records call them. It is never used
// again, not even after they have left (design notes on signing, E-024).
package person

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Identity is who somebody is.
type Identity struct {
	Code  string // as printed in the trail and written in the records
	Name  string // as printed beside a signature
	Title string
}

// Person is somebody of the plant.
type Person struct {
	Identity
	ActiveUntil *time.Time // nil: nobody has said that they leave
	Version     int
	Roles       []Held // held now or later, and those that they stand in for
}

// taken are the names by which the trail calls what is not a person of the plant.
var taken = []string{"lastgood", "command line", "what-if"}

// check refuses what cannot be told from another in a trail or on paper.
func (p Identity) check() error {
	lower := strings.ToLower(p.Code)
	switch {
	case !plain(p.Code, 50):
		return fault.New(fault.Invalid, "bad-code", "a person needs a code of at most 50 characters, without blanks around it").In("code")
	case slices.Contains(taken, lower), strings.HasPrefix(lower, "key "):
		return fault.New(fault.Invalid, "bad-code", "the trail calls something else %s", p.Code).In("code")
	case !plain(p.Name, 100):
		return fault.New(fault.Invalid, "bad-name", "a person needs a name of at most 100 characters, as it is printed beside a signature").In("name")
	case !plain(p.Title, 100):
		return fault.New(fault.Invalid, "bad-title", "a person needs a title of at most 100 characters, as it is printed beside a signature").In("title")
	}
	return nil
}

// plain says whether a text is one printable line without blanks around it.
func plain(s string, most int) bool {
	return s != "" && len([]rune(s)) <= most && strings.TrimSpace(s) == s && !strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsPrint(r) })
}

// Add adds a person and returns the code, shown this once, with which they set a
// password of their own.
func Add(ctx context.Context, tx *pg.Tx, p Identity) (oneTime string, err error) {
	if err := p.check(); err != nil {
		return "", err
	}
	var id int
	const add = `insert into person (plant_id, code, name, title, added_at, added_by) values ($1, $2, $3, $4, $5, $6)
		on conflict do nothing returning person_id`
	err = tx.GetContext(ctx, &id, add, tx.Plant, p.Code, p.Name, p.Title, tx.Now, tx.By.ID)
	if errors.Is(err, sql.ErrNoRows) {
		return "", fault.New(fault.Conflict, "duplicate", "there is, or was, a person %s: codes are never used again, in whatever case they are written", p.Code).In("code")
	}
	if err != nil {
		return "", fmt.Errorf("add person: %w", err)
	}
	if _, err := tx.ExecContext(ctx, `insert into person_credential (plant_id, person_id) values ($1, $2)`, tx.Plant, id); err != nil {
		return "", fmt.Errorf("add person: %w", err)
	}
	return newCode(ctx, tx, id)
}

// Depart says until when somebody is at the plant; no later than now, their
// sessions end at once.
func Depart(ctx context.Context, tx *pg.Tx, code string, until time.Time) error {
	p, err := own(ctx, tx, code)
	if err != nil {
		return err
	}
	if until.Before(tx.Now) {
		until = tx.Now
	}
	const depart = `update person set active_until = $3, version = version + 1 where plant_id = $1 and person_id = $2`
	if _, err := tx.ExecContext(ctx, depart, tx.Plant, p.ID, until); err != nil {
		return fmt.Errorf("departure: %w", err)
	}
	if until.After(tx.Now) {
		return nil
	}
	return endSessions(ctx, tx, p.ID)
}

// row is a person as they stand, locked until the transaction ends.
type row struct {
	ID          int        `db:"person_id"`
	Code        string     `db:"code"`
	Name        string     `db:"name"`
	ActiveUntil *time.Time `db:"active_until"`
}

// own locks somebody who is still at the plant.
func own(ctx context.Context, tx *pg.Tx, code string) (r row, err error) {
	const q = `select person_id, code, name, active_until from person where plant_id = $1 and code = $2 for update`
	err = tx.GetContext(ctx, &r, q, tx.Plant, code)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return r, fault.New(fault.NotFound, "unknown-person", "there is no person %s", code)
	case err != nil:
		return r, fmt.Errorf("person: %w", err)
	case r.ActiveUntil != nil && !r.ActiveUntil.After(tx.Now):
		return r, fault.New(fault.Refused, "departed", "%s left on %s", code, r.ActiveUntil.UTC().Format(time.DateOnly))
	}
	return r, nil
}

// touched raises the version of somebody of whom something changed.
func touched(ctx context.Context, tx *pg.Tx, id int) error {
	_, err := tx.ExecContext(ctx, `update person set version = version + 1 where plant_id = $1 and person_id = $2`, tx.Plant, id)
	return err
}
