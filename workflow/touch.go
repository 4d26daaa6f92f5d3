package workflow

import (
	"context"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/lot"
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

// touchProducts: what product a lot in doubt is decides how bad the doubt is, and
// under which limits it was made.
func touchProducts(ctx context.Context, tx *pg.Tx, codes []string) error {
	return touch(ctx, tx, `deviation_id in (select d.deviation_id from deviation_lot d join lot using (plant_id, lot_id)
		join product p using (plant_id, product_id) where d.plant_id = $1 and p.code = any($3))`, pq.Array(codes))
}

// concernsReadings: a reading inside a suspect window, or outside it for a lot
// in doubt, by its name or by its stay; or after the instrument was taken out of
// use, before it passed again; or any reading for a limit that the
// instrument was not known to serve, since the window may then reach further
// back.
const concernsReadings = `
update deviation d set retrace_due = coalesce(retrace_due, $3), evidence_count = evidence_count + 1
where d.plant_id = $1 and exists (
  select from json_to_recordset($2) as r(instrument_id int, first timestamptz, last timestamptz, lots bigint[],
    placed boolean, serves_more boolean)
  where r.instrument_id = d.instrument_id and (r.serves_more
    or exists (select from deviation_window w where w.plant_id = $1 and w.deviation_id = d.deviation_id
      and w.span && tstzrange(r.first, r.last, '[]'))
    or exists (select from deviation_window w where w.plant_id = $1 and w.deviation_id = d.deviation_id
      and r.last > upper(w.span)
      and exists (select from instrument_event v where v.plant_id = $1 and v.instrument_id = d.instrument_id
        and v.kind = 'removed_from_use' and v.at = upper(w.span))
      and not exists (select from accuracy_check c where c.plant_id = $1 and c.instrument_id = d.instrument_id
        and c.performed_at >= upper(w.span) and c.performed_at <= r.first and c.left_verdict = 'pass' and not c.unusable))
    or exists (select from deviation_lot l where l.plant_id = $1 and l.deviation_id = d.deviation_id
      and l.lot_id = any(r.lots))
    or r.placed and exists (select from deviation_lot l join stay y using (plant_id, lot_id)
      where l.plant_id = $1 and l.deviation_id = d.deviation_id
      and tstzrange(y.stayed_from, y.stayed_to, '[]') && tstzrange(r.first, r.last, '[]'))))`

// touchReadings makes the deviations due that new readings concern. It costs
// one query a batch.
func touchReadings(ctx context.Context, tx *pg.Tx, list []reading.Touched) error {
	if len(list) == 0 {
		return nil
	}
	type row struct {
		Instrument int32     `json:"instrument_id"`
		First      time.Time `json:"first"`
		Last       time.Time `json:"last"`
		Lots       []lot.ID  `json:"lots"`
		Placed     bool      `json:"placed"`
		ServesMore bool      `json:"serves_more"`
	}
	rows := make([]row, len(list))
	for i, t := range list {
		rows[i] = row{int32(t.Instrument), t.First, t.Last, t.Lots, t.Placed, t.ServesMore}
	}
	_, err := tx.Insert(ctx, concernsReadings, rows)
	return err
}
