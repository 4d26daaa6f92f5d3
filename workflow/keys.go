package workflow

import (
	"context"
	"crypto/rand"
	"slices"
	"time"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// AddKey makes a key for the plant and returns its secret, which is shown this
// once.
func (s *Service) AddKey(ctx context.Context, sc pg.Scope, name string, scopes []key.Scope, expires time.Time) (secret string, err error) {
	err = s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		if secret, err = key.Add(ctx, tx, rand.Reader, name, scopes, expires); err != nil {
			return err
		}
		return trail.Append(ctx, tx, trail.Entry{Stream: "administration", Action: "key.added", Subject: name,
			After: map[string]any{"scopes": scopes, "expires_at": expires.UTC()}})
	})
	return secret, err
}

// RevokeKey ends a key at once.
func (s *Service) RevokeKey(ctx context.Context, sc pg.Scope, name string) error {
	return s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		if err := key.Revoke(ctx, tx, name); err != nil {
			return err
		}
		return trail.Append(ctx, tx, trail.Entry{Stream: "administration", Action: "key.revoked", Subject: name})
	})
}

// Keys returns the plant's keys; never their secrets.
func (s *Service) Keys(ctx context.Context, sc pg.Scope) (list []key.Key, err error) {
	err = s.db.Read(ctx, sc, func(tx *pg.Tx) error {
		list, err = key.List(ctx, tx)
		return err
	})
	return list, err
}

// Authenticate returns for whom and as whom the holder of a key acts.
// fault.Unauthenticated: the key is not known, ran out or was revoked;
// fault.Forbidden: it lacks one of the scopes.
func (s *Service) Authenticate(ctx context.Context, secret string, needs ...key.Scope) (pg.Scope, error) {
	if !key.Plausible(secret) {
		return pg.Scope{}, fault.New(fault.Unauthenticated, "unknown-key", "this key is not known")
	}
	f, err := key.Find(ctx, s.db, secret)
	if err != nil {
		return pg.Scope{}, err
	}
	if !f.Ends.After(s.db.Now()) {
		return pg.Scope{}, fault.New(fault.Unauthenticated, "key-ended", "the key %s ran out or was revoked on %s", f.Name, f.Ends.UTC().Format(time.RFC3339))
	}
	for _, n := range needs {
		if !slices.Contains(f.Scopes, n) {
			return pg.Scope{}, fault.New(fault.Forbidden, "scope-missing", "the key %s lacks the scope %s", f.Name, n)
		}
	}
	return pg.Scope{Plant: f.Plant, By: actor.Actor{ID: "key " + f.Name, Kind: actor.Key}}, nil
}
