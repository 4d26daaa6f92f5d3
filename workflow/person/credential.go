package person

import (
	"context"
	"crypto/subtle"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Wrong entries: so many in so long lock for so long (design notes on signing,
// E-025).
const (
	mostWrong   = 5
	wrongWithin = 15 * time.Minute
	lockLasts   = 15 * time.Minute
)

// Credential is how somebody proves who they are, as it was looked up. The zero
// value is nobody's and proves nothing.
type Credential struct {
	person  int
	code    string
	name    string
	plant   string
	kept    string
	digest  []byte
	expires time.Time
	locked  *time.Time
}

// Look looks up how somebody proves who they are; nobody's if they are not known
// or have left.
func Look(ctx context.Context, tx *pg.Tx, code string) (Credential, error) {
	return look(ctx, tx, code, "")
}

// look is Look, and may lock the row.
func look(ctx context.Context, tx *pg.Tx, code, lock string) (Credential, error) {
	var r struct {
		Person  int          `db:"person_id"`
		Code    string       `db:"code"`
		Name    string       `db:"name"`
		Plant   string       `db:"plant"`
		Kept    string       `db:"password"`
		Digest  []byte       `db:"code_digest"`
		Expires sql.NullTime `db:"code_expires_at"`
		Locked  *time.Time   `db:"locked_until"`
	}
	const q = `select p.person_id, p.code, p.name, l.name as plant, coalesce(c.password, '') as password, c.code_digest, c.code_expires_at, c.locked_until
		from person p join person_credential c using (plant_id, person_id) join plant l using (plant_id)
		where plant_id = $1 and p.code = $2 and (p.active_until is null or p.active_until > $3) `
	err := tx.GetContext(ctx, &r, q+lock, tx.Plant, code, tx.Now)
	if errors.Is(err, sql.ErrNoRows) {
		return Credential{}, nil
	}
	if err != nil {
		return Credential{}, fmt.Errorf("credential: %w", err)
	}
	return Credential{r.Person, r.Code, r.Name, r.Plant, r.Kept, r.Digest, r.Expires.Time, r.Locked}, nil
}

// Proves says whether a password is theirs. It takes long, and as long whoever it
// is: call it outside a transaction.
func (c Credential) Proves(ctx context.Context, password string) (bool, error) {
	return verify(ctx, c.kept, password)
}

// Unlocked refuses while sign-in is locked.
func (c Credential) Unlocked(now time.Time) error {
	if c.locked != nil && c.locked.After(now) {
		return fault.New(fault.Forbidden, "sign-in-locked", "there were %d wrong entries: signing in is locked until %s", mostWrong, c.locked.UTC().Format(time.RFC3339))
	}
	return nil
}

// Wrong is the answer to whatever proves nothing. It does not say what was wrong.
func Wrong() error {
	return fault.New(fault.Unauthenticated, "sign-in-refused", "the plant, the person or what proves them is not right")
}

// Again looks the credential up once more and locks it. It is nobody's if another
// proof is asked for by now: a password was set or taken in between.
func (c Credential) Again(ctx context.Context, tx *pg.Tx) (Credential, error) {
	now, err := look(ctx, tx, c.code, "for update of p, c")
	if err != nil || now.kept != c.kept || subtle.ConstantTimeCompare(now.digest, c.digest) == 0 {
		return Credential{}, err
	}
	return now, nil
}

// Code is what the trail calls them.
func (c Credential) Code() string { return c.code }

// Known says whether it is anybody's.
func (c Credential) Known() bool { return c.person != 0 }

// Failed counts a wrong entry and says whether it was the one that locks. What it
// writes must be committed, whatever the caller is told.
func (c Credential) Failed(ctx context.Context, tx *pg.Tx) (locked bool, err error) {
	var n int
	const count = `update person_credential set failed_at = array(select t from unnest(failed_at) t where t > $4) || $3::timestamptz
		where plant_id = $1 and person_id = $2 returning cardinality(failed_at)`
	if err := tx.GetContext(ctx, &n, count, tx.Plant, c.person, tx.Now, tx.Now.Add(-wrongWithin)); err != nil {
		return false, fmt.Errorf("wrong entry: %w", err)
	}
	if n < mostWrong {
		return false, nil
	}
	const lock = `update person_credential set failed_at = '{}', locked_until = $3 where plant_id = $1 and person_id = $2`
	if _, err := tx.ExecContext(ctx, lock, tx.Plant, c.person, tx.Now.Add(lockLasts)); err != nil {
		return false, fmt.Errorf("lock sign-in: %w", err)
	}
	return true, nil
}

// Succeeded forgets the wrong entries before a right one.
func (c Credential) Succeeded(ctx context.Context, tx *pg.Tx) error {
	const q = `update person_credential set failed_at = '{}', locked_until = null where plant_id = $1 and person_id = $2`
	_, err := tx.ExecContext(ctx, q, tx.Plant, c.person)
	return err
}

// Opens says whether a one-time code is theirs, and refuses one that has run out.
func (c Credential) Opens(oneTime string, now time.Time) (bool, error) {
	if c.digest == nil || subtle.ConstantTimeCompare(c.digest, digest(asTyped(oneTime))) == 0 {
		return false, nil
	}
	if !c.expires.After(now) {
		return true, fault.New(fault.Unauthenticated, "code-ended", "the one-time code ran out on %s: ask an administrator for a new one", c.expires.UTC().Format(time.RFC3339))
	}
	return true, nil
}

// Keep returns what is to be kept of a password that its owner chose. It takes
// long: call it outside a transaction.
func (c Credential) Keep(ctx context.Context, password string) (string, error) {
	if err := fitPassword(password, c.code, c.name, c.plant); err != nil {
		return "", err
	}
	return keep(ctx, password)
}

// Set puts a password in force and uses the one-time code up.
func (c Credential) Set(ctx context.Context, tx *pg.Tx, kept string) error {
	const set = `update person_credential set password = $3, code_digest = null, code_expires_at = null, failed_at = '{}', locked_until = null
		where plant_id = $1 and person_id = $2`
	_, err := tx.ExecContext(ctx, set, tx.Plant, c.person, kept)
	return err
}
