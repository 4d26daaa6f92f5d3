// Package key owns the keys by which plant systems call the API. A key is shown
// once; its digest is kept. A key belongs to one plant, has scopes and runs out.
// It never signs anything.
package key

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Scope is what a key may do.
type Scope string

// The scopes.
const (
	FactsRead       Scope = "facts:read"
	FactsWrite      Scope = "facts:write"
	ReadingsWrite   Scope = "readings:write"
	ChecksWrite     Scope = "checks:write"
	DeviationsRead  Scope = "deviations:read"
	DeviationsWrite Scope = "deviations:write"
	HoldsWrite      Scope = "holds:write"
	PolicyWrite     Scope = "policy:write"
	TrailRead       Scope = "trail:read"
	ShipAsk         Scope = "ship:ask"
	WebhooksWrite   Scope = "webhooks:write"
)

// Scopes are all of them.
var Scopes = []Scope{FactsRead, FactsWrite, ReadingsWrite, ChecksWrite, DeviationsRead, DeviationsWrite, HoldsWrite, PolicyWrite, TrailRead, ShipAsk, WebhooksWrite}

// Key is what is known of a key; never the secret.
type Key struct {
	Name      string     `db:"name"`
	Scopes    []Scope    `db:"-"`
	ExpiresAt time.Time  `db:"expires_at"`
	CreatedAt time.Time  `db:"created_at"`
	CreatedBy string     `db:"created_by"`
	RevokedAt *time.Time `db:"revoked_at"`
}

// prefix tells a key of ours from other secrets, for people and for scanners.
const prefix = "lg_"

// newSecret makes a secret of 256 random bits.
func newSecret(random io.Reader) (string, error) {
	b := make([]byte, 32)
	if _, err := io.ReadFull(random, b); err != nil {
		return "", fmt.Errorf("key: %w", err)
	}
	return prefix + base64.RawURLEncoding.EncodeToString(b), nil
}

// digest is what is kept. A plain hash is enough: the secret is random, not
// chosen by a person.
func digest(secret string) []byte {
	d := sha256.Sum256([]byte(secret))
	return d[:]
}

// Plausible says whether a secret can be one of ours at all.
func Plausible(secret string) bool {
	return strings.HasPrefix(secret, prefix) && len(secret) == len(prefix)+43
}

// Add makes a key and returns its secret, which is shown this once. Bad names,
// scopes and times are refused.
func Add(ctx context.Context, tx *pg.Tx, random io.Reader, name string, scopes []Scope, expires time.Time) (string, error) {
	switch {
	case name == "" || len(name) > 100 || strings.TrimSpace(name) != name:
		return "", fault.New(fault.Invalid, "bad-name", "a key needs a name of at most 100 characters").In("name")
	case len(scopes) == 0:
		return "", fault.New(fault.Invalid, "no-scope", "a key needs a scope: %s", fault.Words(Scopes)).In("scopes")
	case !expires.After(tx.Now):
		return "", fault.New(fault.Invalid, "out-of-range", "the key would have run out already").In("expires")
	}
	for _, s := range scopes {
		if !slices.Contains(Scopes, s) {
			return "", fault.New(fault.Invalid, "unknown-word", "there is no scope %s; there are %s", s, fault.Words(Scopes)).In("scopes")
		}
	}
	secret, err := newSecret(random)
	if err != nil {
		return "", err
	}
	const add = `insert into api_key (plant_id, name, digest, scopes, expires_at, created_at, created_by)
		values ($1, $2, $3, $4, $5, $6, $7) on conflict on constraint api_key_name do nothing`
	res, err := tx.ExecContext(ctx, add, tx.Plant, name, digest(secret), pq.Array(scopes), expires, tx.Now, tx.By.ID)
	if err != nil {
		return "", fmt.Errorf("add key: %w", err)
	}
	if n, _ := res.RowsAffected(); n == 0 {
		return "", fault.New(fault.Conflict, "duplicate", "there is a key %s already: names are never used again", name).In("name")
	}
	return secret, nil
}

// Revoke ends a key at once.
func Revoke(ctx context.Context, tx *pg.Tx, name string) error {
	const q = `update api_key set revoked_at = $3 where plant_id = $1 and name = $2 and revoked_at is null`
	res, err := tx.ExecContext(ctx, q, tx.Plant, name, tx.Now)
	if err != nil {
		return fmt.Errorf("revoke key: %w", err)
	}
	if n, _ := res.RowsAffected(); n == 0 {
		return fault.New(fault.NotFound, "unknown-key", "there is no key %s in force", name)
	}
	return nil
}

// List returns the plant's keys by name.
func List(ctx context.Context, tx *pg.Tx) ([]Key, error) {
	var rows []struct {
		Key
		Raw pq.StringArray `db:"scopes"`
	}
	const q = `select name, scopes, expires_at, created_at, created_by, revoked_at from api_key where plant_id = $1 order by name`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant); err != nil {
		return nil, fmt.Errorf("keys: %w", err)
	}
	out := make([]Key, len(rows))
	for i, r := range rows {
		out[i] = r.Key
		out[i].Scopes = toScopes(r.Raw)
	}
	return out, nil
}

func toScopes(raw []string) []Scope {
	s := make([]Scope, len(raw))
	for i, r := range raw {
		s[i] = Scope(r)
	}
	return s
}

// Found is a key that was shown, whatever its state.
type Found struct {
	Plant  pg.PlantID
	Name   string
	Scopes []Scope
	Ends   time.Time // when it runs out or was revoked
}

// Find returns the key of a secret. fault.Unauthenticated: there is none.
func Find(ctx context.Context, db *pg.DB, secret string) (Found, error) {
	f, err := db.FindKey(ctx, digest(secret))
	if err != nil {
		return Found{}, err
	}
	out := Found{Plant: f.Plant, Name: f.Name, Scopes: toScopes(f.Scopes), Ends: f.ExpiresAt}
	if f.RevokedAt != nil && f.RevokedAt.Before(out.Ends) {
		out.Ends = *f.RevokedAt
	}
	return out, nil
}
