package instrument

import (
	"context"
	"fmt"
	"time"

	"lastgood/workflow/pg"
)

// FoundOverdue is a check that was found overdue.
type FoundOverdue struct {
	Instrument ID        `json:"instrument_id"`
	DueAt      time.Time `json:"due_at"`
	InTimeFrom time.Time `json:"in_time_from"`
}

// AddOverdue records that checks were overdue, each once.
func AddOverdue(ctx context.Context, tx *pg.Tx, list []FoundOverdue) error {
	const add = `insert into overdue_check (plant_id, instrument_id, due_at, in_time_from, found_at)
		select $1, instrument_id, due_at, in_time_from, $3 from json_to_recordset($2)
		as r(instrument_id int, due_at timestamptz, in_time_from timestamptz) on conflict do nothing`
	if _, err := tx.Insert(ctx, add, list); err != nil {
		return fmt.Errorf("overdue checks: %w", err)
	}
	return nil
}

func loadOverdue(ctx context.Context, tx *pg.Tx, in Stored) ([]Overdue, error) {
	var rows []struct {
		ID         int64     `db:"overdue_id"`
		DueAt      time.Time `db:"due_at"`
		InTimeFrom time.Time `db:"in_time_from"`
	}
	const q = `select overdue_id, due_at, in_time_from from overdue_check where plant_id = $1 and instrument_id = $2 order by due_at`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, in.ID); err != nil {
		return nil, err
	}
	var out []Overdue
	for _, r := range rows {
		out = append(out, Overdue{r.ID, r.DueAt.UnixMicro(), r.InTimeFrom.UnixMicro()})
	}
	return out, nil
}
