package pg

import (
	"bytes"
	"context"
	"database/sql"
	"errors"

	"lastgood/workflow/fault"
)

// Once looks whether the command of this key was done already. It returns the
// stored answer if so. The same key with another request is refused. Two
// requests of one key at the same time: the second waits for the first.
func (tx *Tx) Once(ctx context.Context, digest []byte) (answer []byte, done bool, err error) {
	if tx.IdemKey == "" {
		return nil, false, nil
	}
	if err := tx.OwnStream(ctx, "key/"+tx.By.ID+"/"+tx.IdemKey); err != nil {
		return nil, false, err
	}
	var row struct {
		Digest []byte `db:"request_digest"`
		Body   []byte `db:"body"`
	}
	const asked = `select request_digest, body from idempotency where plant_id = $1 and actor = $2 and key = $3`
	err = tx.GetContext(ctx, &row, asked, tx.Plant, tx.By.ID, tx.IdemKey)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return nil, false, nil
	case err != nil:
		return nil, false, err
	case !bytes.Equal(row.Digest, digest):
		return nil, false, fault.New(fault.Invalid, "idempotency-key-reused",
			"the key %s was used for another request", tx.IdemKey)
	}
	return row.Body, true, nil
}

// Answered stores the answer of a command under its key, in its transaction.
func (tx *Tx) Answered(ctx context.Context, digest []byte, status int, body []byte) error {
	if tx.IdemKey == "" {
		return nil
	}
	_, err := tx.ExecContext(ctx, `insert into idempotency
		(plant_id, actor, key, request_digest, status, body, recorded_at) values ($1, $2, $3, $4, $5, $6, $7)`,
		tx.Plant, tx.By.ID, tx.IdemKey, digest, status, body, tx.Now)
	return err
}
