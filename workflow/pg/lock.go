package pg

import (
	"context"
	"fmt"
	"hash/fnv"
)

// Locks are taken in one order: plant, genealogy, deviation, hold, lot, and the
// trail last. They end with the transaction.

// The classes of advisory lock. 5 is the month lock of the schema, 7 the sign of
// life of a runner of jobs.
const (
	plantLock     = 1
	genealogyLock = 2
	streamLock    = 3
	internLock    = 4
	outboxLock    = 6
	logLock       = 8
)

// SharePlant takes the shared plant lock and returns the deviation epoch that
// then stands. Whoever writes rows that a deviation might concern holds it
// until commit, so that a deviation that opens sees the rows, or they see it.
func (tx *Tx) SharePlant(ctx context.Context) (epoch int64, err error) {
	if _, err := tx.ExecContext(ctx, `select pg_advisory_xact_lock_shared($1, $2)`, plantLock, tx.Plant); err != nil {
		return 0, fmt.Errorf("plant lock: %w", err)
	}
	// A later statement, for a snapshot newer than the lock.
	err = tx.GetContext(ctx, &epoch, `select epoch from deviation_epoch where plant_id = $1`, tx.Plant)
	return epoch, err
}

// OwnPlant takes the exclusive plant lock: nothing that a deviation might
// concern is being written while it is held.
func (tx *Tx) OwnPlant(ctx context.Context) error {
	_, err := tx.ExecContext(ctx, `select pg_advisory_xact_lock($1, $2)`, plantLock, tx.Plant)
	return err
}

// RaiseEpoch tells every writer that windows have changed. It needs OwnPlant.
func (tx *Tx) RaiseEpoch(ctx context.Context) error {
	_, err := tx.ExecContext(ctx, `update deviation_epoch set epoch = epoch + 1 where plant_id = $1`, tx.Plant)
	return err
}

// OwnGenealogy keeps other writers of edges out, so that two of them cannot
// close a cycle together.
func (tx *Tx) OwnGenealogy(ctx context.Context) error {
	_, err := tx.ExecContext(ctx, `select pg_advisory_xact_lock($1, $2)`, genealogyLock, tx.Plant)
	return err
}

// OwnStream serialises appends to one stream of the trail.
func (tx *Tx) OwnStream(ctx context.Context, stream string) error {
	h := fnv.New32a()
	fmt.Fprintf(h, "%d/%s", tx.Plant, stream)
	_, err := tx.ExecContext(ctx, `select pg_advisory_xact_lock($1, $2)`, streamLock, int32(h.Sum32()))
	return err
}

// OwnNames serialises the making of interned names, such as reading contexts.
func (tx *Tx) OwnNames(ctx context.Context) error {
	_, err := tx.ExecContext(ctx, `select pg_advisory_xact_lock($1, $2)`, internLock, tx.Plant)
	return err
}

// OwnOutbox serialises the handing out of positions in the outbox.
func (tx *Tx) OwnOutbox(ctx context.Context) error {
	_, err := tx.ExecContext(ctx, `select pg_advisory_xact_lock($1, $2)`, outboxLock, tx.Plant)
	return err
}

// OwnLog lets one at a time put entries of the trail into the plant's log. It
// returns false, and does not wait, while another does.
func (tx *Tx) OwnLog(ctx context.Context) (mine bool, err error) {
	err = tx.GetContext(ctx, &mine, `select pg_try_advisory_xact_lock($1, $2)`, logLock, tx.Plant)
	return mine, err
}
