package workflow

import (
	"context"
	"crypto/sha256"
	"fmt"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/pg"
)

// Statuses that an idempotency row keeps with an answer.
const (
	statusDone    = 200
	statusCreated = 201
)

// do runs a command as one transaction, once for its idempotency key: the same
// key with the same request is given the stored answer, with another it is
// refused. what and request are what the request's digest is made of.
func do[A any](ctx context.Context, s *Service, sc pg.Scope, what string, request any, status int, f func(*pg.Tx) (A, error)) (answer A, err error) {
	text, err := json.Marshal(request, json.Deterministic(true))
	if err != nil {
		return answer, fmt.Errorf("%s: %w", what, err)
	}
	digest := sha256.Sum256(append([]byte(what+"\n"), text...))
	err = s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		stored, done, err := tx.Once(ctx, digest[:])
		if err != nil {
			return err
		}
		if done {
			return json.Unmarshal(stored, &answer)
		}
		if answer, err = f(tx); err != nil {
			return err
		}
		body, err := json.Marshal(answer)
		if err != nil {
			return fmt.Errorf("%s: %w", what, err)
		}
		return tx.Answered(ctx, digest[:], status, body)
	})
	return answer, err
}
