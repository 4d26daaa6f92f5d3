package workflow

import (
	"context"

	"github.com/lib/pq"

	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// What is recorded late may concern a deviation, open or closed. It becomes due
// for a new trace run in the transaction that records it, never later.

const due = `update deviation set retrace_due = coalesce(retrace_due, $2), evidence_count = evidence_count + 1
where plant_id = $1 and `

func touch(ctx context.Context, tx *pg.Tx, which string, arg any) error {
	_, err := tx.ExecContext(ctx, due+which, tx.Plant, tx.Now, arg)
	return err
}

// touchInstruments: whatever is said of an instrument concerns its deviations.
func touchInstruments(ctx context.Context, tx *pg.Tx, codes []string) error {
	return touch(ctx, tx, `instrument_id in (select instrument_id from instrument
		where plant_id = $1 and code = any($3))`, pq.Array(codes))
}

// touchLots: what becomes of a lot in doubt concerns the deviation.
func touchLots(ctx context.Context, tx *pg.Tx, codes []string) error {
	return touch(ctx, tx, `deviation_id in (select d.deviation_id from deviation_lot d join lot using (plant_id, lot_id)
		where d.plant_id = $1 and code = any($3))`, pq.Array(codes))
}

// touchLocations: a stay where a failed instrument hung or read may bring a lot
// in doubt.
func touchLocations(ctx context.Context, tx *pg.Tx, codes []string) error {
	return touch(ctx, tx, `instrument_id in (
		select instrument_id from mounting join location using (plant_id, location_id)
		where plant_id = $1 and code = any($3)
		union all
		select instrument_id from location_span join location using (plant_id, location_id)
		where plant_id = $1 and code = any($3))`, pq.Array(codes))
}

// touchWindows: readings inside a suspect window, or outside it for a lot that
// is in doubt, concern the deviation. It costs one query a batch.
func touchWindows(ctx context.Context, tx *pg.Tx, list []reading.Touched) error {
	const q = `
update deviation d set retrace_due = coalesce(retrace_due, $3), evidence_count = evidence_count + 1
where d.plant_id = $1 and exists (
  select from json_to_recordset($2) as r(instrument_id int, first timestamptz, last timestamptz)
  join deviation_window w on w.plant_id = $1 and w.instrument_id = r.instrument_id
  where w.deviation_id = d.deviation_id and w.span && tstzrange(r.first, r.last, '[]'))`
	if len(list) == 0 {
		return nil
	}
	type row struct {
		Instrument int32 `json:"instrument_id"`
		First      any   `json:"first"`
		Last       any   `json:"last"`
	}
	rows := make([]row, len(list))
	for i, t := range list {
		rows[i] = row{int32(t.Instrument), t.First, t.Last}
	}
	_, err := tx.Insert(ctx, q, rows)
	return err
}
