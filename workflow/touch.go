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

// touchInstruments: whatever is said of an instrument concerns its deviations, and
// those of which it saw lots in doubt.
func touchInstruments(ctx context.Context, tx *pg.Tx, codes []string) error {
	return touch(ctx, tx, `(instrument_id in (select instrument_id from instrument
		where plant_id = $1 and code = any($3)) or deviation_id in (`+sawLots+`))`, pq.Array(codes))
}

// touchSeconds: how good another instrument was that saw lots in doubt decides
// whether it vouches for them.
func touchSeconds(ctx context.Context, tx *pg.Tx, codes []string) error {
	return touch(ctx, tx, `deviation_id in (`+sawLots+`)`, pq.Array(codes))
}

// sawLots is the deviations of which some instruments saw lots in doubt: they read
// them, or read or hung where such a lot stayed, as far as their clocks were ever
// off. When a mounting ended does not count: that it did may be the news.
const sawLots = `
with i as (select i.instrument_id, make_interval(secs => coalesce(max(abs(coalesce(k.ahead_us, 0)) + k.bound_us), 0) / 1000000.0) as off
  from instrument i left join clock_offset k using (plant_id, instrument_id)
  where i.plant_id = $1 and i.code = any($3) group by i.instrument_id),
place as (
  select s.location_id, s.first_at - i.off as since, s.last_at + i.off as upto
  from i join location_span s on s.plant_id = $1 and s.instrument_id = i.instrument_id
  union all
  select m.location_id, m.mounted_from - i.off, 'infinity'
  from i join mounting m on m.plant_id = $1 and m.instrument_id = i.instrument_id)
select l.deviation_id from i join lot_span s on s.plant_id = $1 and s.instrument_id = i.instrument_id
join deviation_lot l on l.plant_id = $1 and l.lot_id = s.lot_id
union
select l.deviation_id from place p join stay y on y.plant_id = $1 and y.location_id = p.location_id
  and y.stayed_from <= p.upto and coalesce(y.stayed_to, 'infinity') >= p.since
join deviation_lot l on l.plant_id = $1 and l.lot_id = y.lot_id`

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

// touchStays: a stay where a failed instrument hung or read, or in a vessel where
// a lot in doubt stood, may bring a lot in doubt.
func touchStays(ctx context.Context, tx *pg.Tx, codes []string) error {
	if err := touchLocations(ctx, tx, codes); err != nil {
		return err
	}
	return touch(ctx, tx, stoodThere+` and p.vessel)`, pq.Array(codes))
}

// touchVessels: whether a place is a vessel decides what lots in doubt that stood
// there have tainted.
func touchVessels(ctx context.Context, tx *pg.Tx, codes []string) error {
	return touch(ctx, tx, stoodThere+`)`, pq.Array(codes))
}

// stoodThere is the deviations of which lots in doubt stood in a place p.
const stoodThere = `deviation_id in (select d.deviation_id from deviation_lot d join stay y using (plant_id, lot_id)
	join location p using (plant_id, location_id) where d.plant_id = $1 and p.code = any($3)`

// touchCleaned: a clean-out bounds what a lot in doubt has tainted in a vessel,
// and for which lots the single readings vouch that were taken at a line.
func touchCleaned(ctx context.Context, tx *pg.Tx, codes []string) error {
	if err := touchVessels(ctx, tx, codes); err != nil {
		return err
	}
	limits, _, err := sampledLimits(ctx, tx)
	if err != nil || len(limits) == 0 {
		return err
	}
	const q = due + `instrument_id in (select s.instrument_id from limit_span s where s.plant_id = $1 and s.limit_name = any($4)
		and (exists (select from reading_context c join location p using (plant_id, location_id)
				where c.plant_id = $1 and c.limit_name = s.limit_name and p.code = any($3))
			or exists (select from mounting m join location p using (plant_id, location_id)
				where m.plant_id = $1 and m.instrument_id = s.instrument_id and p.code = any($3))))`
	_, err = tx.ExecContext(ctx, q, tx.Plant, tx.Now, pq.Array(codes), pq.Array(limits))
	return err
}

// touchProducts: what product a lot in doubt is decides how bad the doubt is, and
// under which limits it was made.
func touchProducts(ctx context.Context, tx *pg.Tx, codes []string) error {
	return touch(ctx, tx, `deviation_id in (select d.deviation_id from deviation_lot d join lot using (plant_id, lot_id)
		join product p using (plant_id, product_id) where d.plant_id = $1 and p.code = any($3))`, pq.Array(codes))
}

// touchPolicy: what was found under another policy may be something else by this
// one. What is closed was decided by the policy of its day and stays so: that it
// was judged by the wrong version of a limit is for a person to say, who reopens
// it.
func touchPolicy(ctx context.Context, tx *pg.Tx, version int) error {
	return touch(ctx, tx, `state not in ('closed', 'cancelled_in_error') and $3 <> coalesce((select r.policy_version from trace_run r
		where r.plant_id = $1 and r.deviation_id = deviation.deviation_id order by r.run_number desc limit 1), 0)`, version)
}

// concernsReadings: a reading of a lot in doubt, by whatever instrument, since it
// may vouch for it or against it; one of the instrument itself inside a suspect
// window, or outside it for a lot in doubt by its stay; or after the instrument was taken out of
// use, before it passed again; or any reading for a limit that the
// instrument was not known to serve, since the window may then reach further
// back. Its times are as the instrument's clock showed them: as far as that was
// ever off, they count wider. One of a place, by another instrument, concerns it if
// it was taken while a lot in doubt stayed there and inside the window. That leaves
// out what such an instrument shows of the same stay before the window and after
// it: it bears on the lot and not on the doubt, the next run for any other reason
// takes it in, and else a logger that goes on would make everything due for ever
// beside which product on hold stands. While the window is open it still does.
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
  where r.placed and r.instrument_id <> d.instrument_id and exists (
      select from deviation_window w join deviation_lot l using (plant_id, deviation_id) join stay y using (plant_id, lot_id)
      where w.plant_id = $1 and w.deviation_id = d.deviation_id and w.span && tstzrange(r.first, r.last, '[]')
        and w.span * tstzrange(y.stayed_from, y.stayed_to, '[]') && tstzrange(r.first, r.last, '[]')
        and (exists (select from location_span p where p.plant_id = $1 and p.instrument_id = r.instrument_id
            and p.location_id = y.location_id and p.first_at - k.off <= r.last and p.last_at + k.off >= r.first)
          or exists (select from mounting p where p.plant_id = $1 and p.instrument_id = r.instrument_id
            and p.location_id = y.location_id and p.mounted_from - k.off <= r.last
            and coalesce(p.mounted_to, 'infinity') + k.off >= r.first)))
    or r.instrument_id = d.instrument_id and (r.serves_more
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
