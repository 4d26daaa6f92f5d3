package pg

import (
	"context"
	"database/sql"
	"errors"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/fault"
)

// FoundKey is the row of a key, found before its plant is known.
type FoundKey struct {
	Plant     PlantID        `db:"plant_id"`
	Name      string         `db:"name"`
	Scopes    pq.StringArray `db:"scopes"`
	ExpiresAt time.Time      `db:"expires_at"`
	RevokedAt *time.Time     `db:"revoked_at"`
}

// FindKey returns the key of a digest, of whatever plant.
func (db *DB) FindKey(ctx context.Context, digest []byte) (f FoundKey, err error) {
	const q = `select plant_id, name, scopes, expires_at, revoked_at from find_key($1)`
	err = db.pool.GetContext(ctx, &f, q, digest)
	if errors.Is(err, sql.ErrNoRows) {
		return f, fault.New(fault.Unauthenticated, "unknown-key", "this key is not known")
	}
	return f, translate(ctx, err)
}

// Now is the clock that everything is recorded by.
func (db *DB) Now() time.Time { return db.now() }
