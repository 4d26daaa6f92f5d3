package workflow

import (
	"context"

	"lastgood/workflow/pg"
)

// What is recorded can be read back, a page at a time: a list begins after the
// row that the page before ended with. The questions are in ask_instruments.go,
// ask_lots.go and ask_deviations.go.

// ask runs a question in a transaction that sees one moment.
func ask[A any](ctx context.Context, s *Service, sc pg.Scope, f func(*pg.Tx) (A, error)) (answer A, err error) {
	err = s.db.Read(ctx, sc, func(tx *pg.Tx) error {
		answer, err = f(tx)
		return err
	})
	return answer, err
}
