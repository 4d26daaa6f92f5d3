package workflow

import (
	"context"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// What is recorded late may concern a deviation, open or closed. It becomes due
// for a new trace run in the transaction that records it, never later.

const due = `update deviation set retrace_due = coalesce(retrace_due, $2), evidence_count = evidence_count + 1
where plant_id = $1 and `

func touch(ctx context.Context, tx *pg.Tx, which string, arg any) error {
	if _, err := tx.ExecContext(ctx, due+which, tx.Plant, tx.Now, arg); err != nil {
		return err
	}
	return touchCascades(ctx, tx, nil)
}

// touchCascades: a cascade that pends holds what it would put in doubt, and has
// no deviations that could be due. It is looked at again: after readings if they
// are of its instruments, after anything else always.
func touchCascades(ctx context.Context, tx *pg.Tx, read []instrument.ID) error {
	const again = `update cascade k set refresh_due = $2 where k.plant_id = $1 and k.state = 'pending' and k.refresh_due is null
		and ($3::int[] is null or exists (select from cascade_window w where w.plant_id = $1 and w.cascade_id = k.cascade_id
			and w.instrument_id = any($3::int[])))`
	_, err := tx.ExecContext(ctx, again, tx.Plant, tx.Now, pq.Array(read))
	return err
}

// touchInstruments: whatever is said of an instrument concerns its deviations.
func touchInstruments(ctx context.Context, tx *pg.Tx, codes []string) error {
	return touch(ctx, tx, `instrument_id in (select instrument_id from instrument
		where plant_id = $1 and code = any($3))`, pq.Array(codes))
}

// touchSeconds: how good another instrument was that read lots in doubt decides
// whether it vouches for them.
func touchSeconds(ctx context.Context, tx *pg.Tx, codes []string) error {
	return touch(ctx, tx, `deviation_id in (select l.deviation_id from instrument i
		join lot_span s using (plant_id, instrument_id) join deviation_lot l using (plant_id, lot_id)
		where i.plant_id = $1 and i.code = any($3))`, pq.Array(codes))
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

// concernsReadings: a reading of a lot in doubt, by whatever instrument, since it
// may vouch for it or against it; one of the instrument itself inside a suspect
// window, or outside it for a lot in doubt by its stay; or after the instrument was taken out of
// use, before it passed again; or any reading for a limit that the
// instrument was not known to serve, since the window may then reach further
// back. Its times are as the instrument's clock showed them: as far as that was
// ever off, they count wider.
const concernsReadings = `
update deviation d set retrace_due = coalesce(retrace_due, $3), evidence_count = evidence_count + 1
where d.plant_id = $1 and (d.deviation_id in (select l.deviation_id from deviation_lot l where l.plant_id = $1
    and l.lot_id in (select unnest(n.lots) from json_to_recordset($2) as n(lots bigint[])))
  or exists (
  select from json_to_recordset($2) as s(instrument_id int, first timestamptz, last timestamptz, lots bigint[],
    placed boolean, serves_more boolean)
  cross join lateral (select make_interval(secs => coalesce(max(abs(coalesce(ahead_us, 0)) + bound_us), 0) / 1000000.0) as off
    from clock_offset k where k.plant_id = $1 and k.instrument_id = s.instrument_id) k
  cross join lateral (select s.instrument_id, s.first - k.off as first, s.last + k.off as last, s.lots, s.placed, s.serves_more) r
  where r.instrument_id = d.instrument_id and (r.serves_more
    or exists (select from deviation_window w where w.plant_id = $1 and w.deviation_id = d.deviation_id
      and w.span && tstzrange(r.first, r.last, '[]'))
    or exists (select from deviation_window w where w.plant_id = $1 and w.deviation_id = d.deviation_id
      and r.last > upper(w.span)
      and exists (select from instrument_event v where v.plant_id = $1 and v.instrument_id = d.instrument_id
        and v.kind = 'removed_from_use' and v.at = upper(w.span))
      and not exists (select from accuracy_check c where c.plant_id = $1 and c.instrument_id = d.instrument_id
        and c.performed_at >= upper(w.span) and c.performed_at <= r.first and c.left_verdict = 'pass' and not c.unusable))
    or r.placed and exists (select from deviation_lot l join stay y using (plant_id, lot_id)
      where l.plant_id = $1 and l.deviation_id = d.deviation_id
      and tstzrange(y.stayed_from, y.stayed_to, '[]') && tstzrange(r.first, r.last, '[]')))))`

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
	rows, read := make([]row, len(list)), make([]instrument.ID, len(list))
	for i, t := range list {
		read[i] = t.Instrument
		rows[i] = row{int32(t.Instrument), t.First, t.Last, t.Lots, t.Placed, t.ServesMore}
	}
	if _, err := tx.Insert(ctx, concernsReadings, rows); err != nil {
		return err
	}
	return touchCascades(ctx, tx, read)
}
