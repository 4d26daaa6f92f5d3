package pg

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/fault"
)

// FoundSession is a session that somebody showed, whatever its state. Roles are
// those in which its person may act now; For says, for each, for whom they stand
// in, empty for a role of their own.
type FoundSession struct {
	Plant           PlantID        `db:"plant_id"`
	ID              int64          `db:"session_id"`
	Code            string         `db:"code"`
	Name            string         `db:"name"`
	Title           string         `db:"title"`
	ActiveUntil     *time.Time     `db:"active_until"`
	AuthenticatedAt time.Time      `db:"authenticated_at"`
	SeenAt          time.Time      `db:"seen_at"`
	EndsAt          time.Time      `db:"ends_at"`
	EndedAt         *time.Time     `db:"ended_at"`
	Roles           pq.StringArray `db:"roles"`
	For             pq.StringArray `db:"stands_in_for"`
}

// FindSession returns the session of a digest, of whatever plant.
func (db *DB) FindSession(ctx context.Context, digest []byte) (f FoundSession, err error) {
	const q = `select plant_id, session_id, code, name, title, active_until, authenticated_at, seen_at, ends_at, ended_at, roles, stands_in_for
		from find_session($1, $2)`
	err = db.pool.GetContext(ctx, &f, q, digest, db.now())
	if errors.Is(err, sql.ErrNoRows) {
		return f, fault.New(fault.Unauthenticated, "unknown-session", "this session is not known: sign in")
	}
	return f, translate(ctx, err)
}
