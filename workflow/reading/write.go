package reading

import (
	"context"
	"database/sql/driver"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/lib/pq"
	"github.com/lib/pq/pqerror"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// blockSize is how much text one CopyData call carries.
const blockSize = 60 << 10

// write copies the rows into their months. Where a reading is there already the
// copy of that month is undone and the month goes through a stage. It returns
// the indexes of rows that were recorded before with the same value.
func write(ctx context.Context, tx *pg.Tx, batch int32, rows []row) (dups []int, err error) {
	months := byMonth(rows)
	names := slices.Sorted(maps.Keys(months)) // one order for everyone, so that two writers cannot deadlock
	for _, m := range names {
		d, err := writeMonth(ctx, tx, batch, m, months[m])
		if err != nil {
			return nil, err
		}
		dups = append(dups, d...)
	}
	return dups, nil
}

// byMonth splits rows by month (UTC), by the first day of each.
func byMonth(rows []row) map[string][]row {
	months := map[string][]row{}
	for from := 0; from < len(rows); {
		first, next := monthOf(rows[from].at)
		to := from + 1
		for to < len(rows) && rows[to].at >= first.UnixMicro() && rows[to].at < next.UnixMicro() {
			to++
		}
		name := first.Format(time.DateOnly)
		if run := rows[from:to:to]; months[name] == nil {
			months[name] = run // mostly the only one
		} else {
			months[name] = append(months[name], run...)
		}
		from = to
	}
	return months
}

// monthOf returns the beginning of a time's month and of the next.
func monthOf(at int64) (first, next time.Time) {
	y, m, _ := time.UnixMicro(at).UTC().Date()
	first = time.Date(y, m, 1, 0, 0, 0, 0, time.UTC)
	return first, first.AddDate(0, 1, 0)
}

const (
	columns   = "taken_at, value, lot_id, source_key, plant_id, instrument_id, batch_id, context_id"
	makeStage = "create temporary table if not exists reading_stage (like reading, index int) on commit delete rows"
	fromStage = "insert into reading (" + columns + ") select " + columns + " from reading_stage on conflict do nothing"
	wasThere  = `
select s.index, i.code, r.value, r.value = s.value and r.lot_id is not distinct from s.lot_id
  and (rc.limit_name, rc.location_id, rc.unit) = (sc.limit_name, sc.location_id, sc.unit) as same
from reading_stage s
join reading r on r.plant_id = s.plant_id and r.instrument_id = s.instrument_id and r.taken_at = s.taken_at
  and r.source_key = s.source_key and r.batch_id <> s.batch_id
join reading_context rc on rc.plant_id = r.plant_id and rc.context_id = r.context_id
join reading_context sc on sc.plant_id = s.plant_id and sc.context_id = s.context_id
join instrument i on i.plant_id = s.plant_id and i.instrument_id = s.instrument_id
where s.plant_id = $1 order by s.index`
)

func writeMonth(ctx context.Context, tx *pg.Tx, batch int32, month string, rows []row) ([]int, error) {
	var partition string
	if err := tx.GetContext(ctx, &partition, `select ensure_reading_month($1)`, month); err != nil {
		return nil, err
	}
	if _, err := tx.ExecContext(ctx, "savepoint straight"); err != nil {
		return nil, err
	}
	err := copyRows(ctx, tx, "copy "+pq.QuoteIdentifier(partition)+" ("+columns+") from stdin", batch, rows, false)
	if pq.As(err, pqerror.UniqueViolation) == nil {
		return nil, err
	}
	if _, err := tx.ExecContext(ctx, "rollback to savepoint straight"); err != nil {
		return nil, err
	}
	return stage(ctx, tx, batch, rows)
}

// stage takes in rows some of which are there already.
func stage(ctx context.Context, tx *pg.Tx, batch int32, rows []row) ([]int, error) {
	for _, q := range []string{makeStage, "truncate reading_stage"} {
		if _, err := tx.ExecContext(ctx, q); err != nil {
			return nil, fmt.Errorf("stage: %w", err)
		}
	}
	if err := copyRows(ctx, tx, "copy reading_stage ("+columns+", index) from stdin", batch, rows, true); err != nil {
		return nil, fmt.Errorf("stage: %w", err)
	}
	if _, err := tx.ExecContext(ctx, fromStage); err != nil {
		return nil, fmt.Errorf("stage: %w", err)
	}
	var there []struct {
		Index int     `db:"index"`
		Code  string  `db:"code"`
		Value float64 `db:"value"`
		Same  bool    `db:"same"`
	}
	if err := tx.SelectContext(ctx, &there, wasThere, tx.Plant); err != nil {
		return nil, fmt.Errorf("stage: %w", err)
	}
	var dups []int
	var bad fault.Rows
	for _, t := range there {
		if t.Same {
			dups = append(dups, t.Index)
			continue
		}
		bad.Add(t.Index, conflict(t.Code, t.Value))
	}
	return dups, bad.Err()
}

// copyRows sends rows by COPY in blocks of text, through the driver's own
// connection: five times cheaper for us than a statement a row.
func copyRows(ctx context.Context, tx *pg.Tx, statement string, batch int32, rows []row, indexed bool) error {
	return tx.Raw(func(dc any) error {
		st, err := dc.(driver.ConnPrepareContext).PrepareContext(ctx, statement)
		if err != nil {
			return err
		}
		defer st.Close()
		c := st.(interface {
			CopyData(context.Context, string) (driver.Result, error)
			Exec([]driver.Value) (driver.Result, error)
		})
		buf := make([]byte, 0, blockSize+256)
		e := encoder{plant: tx.Plant, batch: batch, indexed: indexed}
		for i := range rows {
			buf = e.appendRow(buf, &rows[i])
			if len(buf) < blockSize && i < len(rows)-1 {
				buf = append(buf, '\n')
				continue
			}
			if _, err := c.CopyData(ctx, string(buf)); err != nil {
				return err
			}
			buf = buf[:0]
		}
		_, err = c.Exec(nil) // sync, and collect what went wrong
		return err
	})
}
