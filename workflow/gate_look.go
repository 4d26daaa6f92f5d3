package workflow

import (
	"context"
	"fmt"

	"github.com/lib/pq"

	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// GateSQL is all that can close the gate for the lots of $2 in the plant $1, in
// one statement, so that it is of one moment. A lot is looked at with everything
// that it was made of, or mixed with ("up").
//
// What waits to be traced again may bring in lots that it does not doubt yet:
// until then it closes the gate for whatever its instrument ever read, or read
// in the place of. That is wider than any window, and passes in a moment.
const GateSQL = `
with recursive up(start, lot_id) as (
  select a.lot_id, a.lot_id from unnest($2::bigint[]) as a(lot_id)
  union
  select u.start, t.lot_id from up u cross join lateral ` + lot.TaintersSQL + ` t),
due(deviation_id, cascade_id, instrument_id) as (
  select deviation_id, 0::bigint, instrument_id from deviation where plant_id = $1 and retrace_due is not null
  union
  select 0, k.cascade_id, k.instrument_id from cascade k where k.plant_id = $1 and k.state = 'pending' and k.refresh_due is not null
  union
  select 0, k.cascade_id, w.instrument_id from cascade k join cascade_window w using (plant_id, cascade_id)
  where k.plant_id = $1 and k.state = 'pending' and k.refresh_due is not null),
near(lot_id, instrument_id) as (
  select u.lot_id, s.instrument_id from up u join lot_span s on s.plant_id = $1 and s.lot_id = u.lot_id
  where exists (select from due)
  union
  select u.lot_id, r.instrument_id from due join reading_quarantine r on r.plant_id = $1 and r.instrument_id = due.instrument_id
  join up u on u.lot_id = r.lot_id
  union
  select u.lot_id, s.instrument_id from up u join stay y on y.plant_id = $1 and y.lot_id = u.lot_id
  join location_span s on s.plant_id = $1 and s.location_id = y.location_id where exists (select from due)
  union
  select u.lot_id, m.instrument_id from up u join stay y on y.plant_id = $1 and y.lot_id = u.lot_id
  join mounting m on m.plant_id = $1 and m.location_id = y.location_id where exists (select from due)),
found(fact, start, lot_id, portion, hold_id, deviation_id, cascade_id, flag, amount, unit, word) as (
  select 'policy', 0::bigint, 0::bigint, '', 0::bigint, 0::bigint, 0::bigint, exists (select from policy_version where plant_id = $1), null::text, null::text,
    case when exists (select from due) then 'due' else '' end
  union all
  select 'server', 0, 0, '', 0, 0, 0, not pg_is_in_recovery() and current_setting('default_transaction_read_only') = 'off', null, null, ''
  union all
  select 'lot', lot_id, lot_id, '', 0, 0, 0, registered, null, null, '' from lot where plant_id = $1 and lot_id = any($2)
  union all
  select 'portion', lot_id, lot_id, label, 0, 0, 0, state in ('free', 'released', 'diverted'), null, null, state from portion where plant_id = $1 and lot_id = any($2)
  union all
  select 'position', lot_id, lot_id, '', 0, 0, 0, in_control, quantity, quantity_unit, '' from (` + lot.PositionsSQL + `) p
  union all
  select 'hold', u.start, u.lot_id, p.label, h.hold_id, coalesce(h.deviation_id, 0), coalesce(h.cascade_id, 0), h.acknowledged_at is not null,
    null, null, coalesce(h.reason, '')
  from up u join portion p on p.plant_id = $1 and p.lot_id = u.lot_id
  join hold h on h.plant_id = $1 and h.portion_id = p.portion_id and h.lifted_at is null
  union all
  select 'pending', u.start, u.lot_id, p.label, 0, 0, k.cascade_id, false, null, null, ''
  from up u join portion p on p.plant_id = $1 and p.lot_id = u.lot_id
  join hold h on h.plant_id = $1 and h.portion_id = p.portion_id and h.lifted_at is null and h.deviation_id is null
  join cascade k on k.plant_id = $1 and k.cascade_id = h.cascade_id and k.state = 'pending'
  union all
  select 'doubted', u.start, u.lot_id, '', 0, d.deviation_id, 0, d.retrace_due is not null, null, null, ''
  from up u join deviation_lot l on l.plant_id = $1 and l.lot_id = u.lot_id
  join deviation d on d.plant_id = $1 and d.deviation_id = l.deviation_id
  where d.retrace_due is not null or not exists (select from deviation_lot o join portion p on p.plant_id = $1 and p.lot_id = o.lot_id
    join hold h on h.plant_id = $1 and h.portion_id = p.portion_id and h.deviation_id = o.deviation_id
    where o.plant_id = $1 and o.deviation_id = d.deviation_id and o.lot_id = u.start)
  union all
  select 'near', u.start, u.lot_id, '', 0, due.deviation_id, due.cascade_id, true, null, null, i.code
  from due join near using (instrument_id) join up u using (lot_id) join instrument i on i.plant_id = $1 and i.instrument_id = due.instrument_id)
select distinct f.*, coalesce(l.code, '') as code from found f left join lot l on l.plant_id = $1 and l.lot_id = f.lot_id
order by fact, start, lot_id, portion, hold_id, deviation_id, cascade_id, word`

// gateFact is a row of what was found.
type gateFact struct {
	Fact      string      `db:"fact"`
	Start     lot.ID      `db:"start"`  // the lot that is asked for
	Lot       lot.ID      `db:"lot_id"` // the same, or one that it was made of
	Code      string      `db:"code"`   // of Lot
	Portion   string      `db:"portion"`
	Hold      hold.ID     `db:"hold_id"`
	Deviation DeviationID `db:"deviation_id"`
	Cascade   CascadeID   `db:"cascade_id"`
	Flag      bool        `db:"flag"` // registered, free, in control, acknowledged, due
	Amount    *string     `db:"amount"`
	Unit      *string     `db:"unit"`
	Word      string      `db:"word"`
}

// gate is what was found, by lot that is asked for.
type gate struct {
	ids    map[string]lot.ID
	policy bool
	facts  map[lot.ID][]gateFact
}

func (s *Service) lookAtGate(ctx context.Context, tx *pg.Tx, ids map[string]lot.ID) (gate, error) {
	g := gate{ids: ids, facts: map[lot.ID][]gateFact{}}
	list := make([]lot.ID, 0, len(ids))
	for _, id := range ids {
		list = append(list, id)
	}
	var rows []gateFact
	if err := s.gate.Select(ctx, tx, &rows, tx.Plant, pq.Array(list)); err != nil {
		return g, fmt.Errorf("ship gate: %w", err)
	}
	due := false
	for _, r := range rows {
		switch {
		case r.Fact == "policy":
			g.policy, due = r.Flag, r.Word == "due"
		case r.Fact == "server" && !r.Flag: // our own transactions ask to write, whatever the default is
			return g, fault.New(fault.Busy, "busy", "the database takes no writes: it may be a standby, or put out of service")
		}
		g.facts[r.Start] = append(g.facts[r.Start], r)
	}
	if !g.policy || !due {
		return g, nil
	}
	return g, g.lookForUnread(ctx, tx, list)
}

// lateLots are lots that may have been made, without a reading of their own,
// between readings in doubt, and of which the deviation or cascade does not know
// yet: it waits to be looked at again. As touchMade.
const lateLots = `
with recursive up(start, lot_id) as (
  select a.lot_id, a.lot_id from unnest($2::bigint[]) as a(lot_id)
  union
  select u.start, t.lot_id from up u cross join lateral ` + lot.TaintersSQL + ` t),
w(deviation_id, cascade_id, instrument_id, span) as (
  select d.deviation_id, 0::bigint, d.instrument_id, w.span from deviation d join deviation_window w using (plant_id, deviation_id)
  where d.plant_id = $1 and d.retrace_due is not null
  union all
  select 0, k.cascade_id, w.instrument_id, w.span from cascade k join cascade_window w using (plant_id, cascade_id)
  where k.plant_id = $1 and k.state = 'pending' and k.refresh_due is not null)
select distinct 'late' as fact, u.start, l.lot_id, l.code, w.deviation_id, w.cascade_id
from w join limit_span s on s.plant_id = $1 and s.instrument_id = w.instrument_id
join unnest($3::text[], $4::text[]) as of(limit_name, product) on of.limit_name = s.limit_name
join product p on p.plant_id = $1 and p.code = of.product
join lot l on l.plant_id = $1 and l.product_id = p.product_id join up u on u.lot_id = l.lot_id
where tstzrange(coalesce(l.made_from, l.made_at), coalesce(l.made_until, l.made_at), '[]')
    && tstzrange(lower(w.span) - interval '1 day', upper(w.span) + interval '1 day', '[]')
  and not exists (select from deviation_lot k where k.plant_id = $1 and k.deviation_id = w.deviation_id and k.lot_id = l.lot_id)
order by 2, 3, 5, 6`

// lookForUnread needs the policy, and so is asked only where something is due.
// It may see a later moment than the rest: lots and windows only come in while
// the plant is shared, so it finds too much and never too little.
func (g gate) lookForUnread(ctx context.Context, tx *pg.Tx, list []lot.ID) error {
	p, err := policyInForce(ctx, tx)
	if err != nil {
		return err
	}
	var limits, products []string
	for _, l := range p.Limits {
		for _, product := range l.AppliesTo.Products {
			if sampled(l) {
				limits, products = append(limits, l.Name), append(products, product)
			}
		}
	}
	if len(limits) == 0 {
		return nil
	}
	var rows []gateFact
	if err := tx.SelectContext(ctx, &rows, lateLots, tx.Plant, pq.Array(list), pq.Array(limits), pq.Array(products)); err != nil {
		return fmt.Errorf("lots registered late: %w", err)
	}
	for _, r := range rows {
		g.facts[r.Start] = append(g.facts[r.Start], r)
	}
	return nil
}
