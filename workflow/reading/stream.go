package reading

import (
	"context"
	"database/sql/driver"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"time"

	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Taken is one stored reading.
type Taken struct {
	At      int64   // µs since 1970
	Value   float64 // as reported, in the context's unit
	Lot     lot.ID  // 0: none named
	Context int32
	// Ahead is what the instrument's clock was ahead by [µs], if that was taken
	// out of At. The stream takes nothing out.
	Ahead int64
}

// postgresEpoch is 2000-01-01, from which PostgreSQL counts, in our µs.
const postgresEpoch = 946_684_800_000_000

const streamQuery = `select timestamptz_send(taken_at), float8send(value), lot_id, context_id from reading
where plant_id = $1 and instrument_id = $2 and taken_at > $3 and taken_at <= $4 order by taken_at, source_key`

// Stream hands out the readings that an instrument took in (after, until], in
// order of time, without ever holding them all. It runs on the transaction's
// own connection: finish it before the next statement.
func Stream(ctx context.Context, tx *pg.Tx, id instrument.ID, after, until time.Time) iter.Seq2[Taken, error] {
	return func(yield func(Taken, error) bool) {
		err := tx.Raw(func(dc any) error {
			// With arguments the driver asks for numbers and bytes in binary, and
			// for times and floats in text: hence the send functions.
			rows, err := dc.(driver.QueryerContext).QueryContext(ctx, streamQuery, []driver.NamedValue{
				{Ordinal: 1, Value: int64(tx.Plant)}, {Ordinal: 2, Value: int64(id)},
				{Ordinal: 3, Value: after}, {Ordinal: 4, Value: until}})
			if err != nil {
				return err
			}
			defer rows.Close()
			return each(rows, yield)
		})
		if err != nil {
			yield(Taken{}, fmt.Errorf("readings: %w", err))
		}
	}
}

func each(rows driver.Rows, yield func(Taken, error) bool) error {
	dst := make([]driver.Value, 4)
	for {
		switch err := rows.Next(dst); {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		t := Taken{
			At:      int64(binary.BigEndian.Uint64(dst[0].([]byte))) + postgresEpoch,
			Value:   math.Float64frombits(binary.BigEndian.Uint64(dst[1].([]byte))),
			Context: int32(dst[3].(int64)),
		}
		if l, ok := dst[2].(int64); ok {
			t.Lot = lot.ID(l)
		}
		if !yield(t, nil) {
			return nil
		}
	}
}
