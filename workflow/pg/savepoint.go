package pg

import (
	"context"
	"fmt"
)

// Supposing runs f and takes back everything that it wrote, so that what would
// come of a command can be told without doing it. Locks that f took first are
// let go.
func (tx *Tx) Supposing(ctx context.Context, f func() error) error {
	if _, err := tx.ExecContext(ctx, `savepoint supposing`); err != nil {
		return fmt.Errorf("savepoint: %w", err)
	}
	if err := f(); err != nil {
		return err // the whole transaction ends
	}
	if _, err := tx.ExecContext(ctx, `rollback to savepoint supposing`); err != nil {
		return fmt.Errorf("savepoint: %w", err)
	}
	_, err := tx.ExecContext(ctx, `release savepoint supposing`)
	return err
}
