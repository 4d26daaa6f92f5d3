package pg

import (
	"context"
	"fmt"

	"github.com/go-json-experiment/json"
)

// Insert runs an insert that takes its rows from json_to_recordset($2), with
// the plant as $1 and tx.Now as $3, and returns how many rows it wrote. One
// argument carries any number of rows.
func (tx *Tx) Insert(ctx context.Context, statement string, rows any) (int64, error) {
	b, err := json.Marshal(rows, json.FormatNilSliceAsNull(false))
	if err != nil {
		return 0, fmt.Errorf("rows: %w", err)
	}
	res, err := tx.ExecContext(ctx, statement, tx.Plant, string(b), tx.Now)
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}

// InsertReturning is Insert for a statement that returns rows, which it reads
// into dst.
func (tx *Tx) InsertReturning(ctx context.Context, dst any, statement string, rows any) error {
	b, err := json.Marshal(rows, json.FormatNilSliceAsNull(false))
	if err != nil {
		return fmt.Errorf("rows: %w", err)
	}
	return tx.SelectContext(ctx, dst, statement, tx.Plant, string(b), tx.Now)
}

// InsertCount is Insert for a statement that answers with a count of its own.
func (tx *Tx) InsertCount(ctx context.Context, statement string, rows any) (n int, err error) {
	b, err := json.Marshal(rows, json.FormatNilSliceAsNull(false))
	if err != nil {
		return 0, fmt.Errorf("rows: %w", err)
	}
	err = tx.GetContext(ctx, &n, statement, tx.Plant, string(b), tx.Now)
	return n, err
}
