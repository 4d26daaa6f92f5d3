package workflow

import (
	"context"
	"fmt"
	"math/big"
	"slices"

	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// Containment comes first and looks wide: it reads spans and stays over the
// longest window of the limits that the instrument serves, and of readings only
// whether there is one for a lot at the window's edge. A hold that turns out
// too wide is lifted by QA, never by the engine.

// contain brings a deviation's window, its lots in doubt and its holds up to
// what is known now. It places holds and lifts none.
func contain(ctx context.Context, tx *pg.Tx, d *Deviation, doubt *metrology.Doubt, p sitePolicy) error {
	served, err := servedLimits(ctx, tx, d.Instrument, p)
	if err != nil {
		return err
	}
	after, until, _ := widest(doubt, served)
	if err := putWindow(ctx, tx, *d, after, until); err != nil {
		return fmt.Errorf("window: %w", err)
	}
	lots, _, err := suspects(ctx, tx, d.Instrument, after, until, p)
	if err != nil {
		return err
	}
	because, order, err := lot.Descendants(ctx, tx, lots)
	if err != nil {
		return err
	}
	if err := putLots(ctx, tx, *d, because, order); err != nil {
		return err
	}
	return holdAll(ctx, tx, d, because, order)
}

// servedLimits returns the limits that an instrument was read for. Readings that named no limit may be for any that applies by
// product or place.
func servedLimits(ctx context.Context, tx *pg.Tx, id instrument.ID, p sitePolicy) ([]limit.Criterion, error) {
	names, err := servedNames(ctx, tx, id, p)
	if err != nil {
		return nil, err
	}
	var out []limit.Criterion
	for _, n := range names {
		for _, l := range p.Limits {
			if l.Name == n || n == "" && len(l.AppliesTo.Products)+len(l.AppliesTo.Locations) > 0 {
				out = append(out, l.Criterion)
			}
		}
	}
	return out, nil
}

// servedNames returns the names of the limits that an instrument was read for. One
// that never named any may be one that rings only when something is wrong: the
// limits of which only exceptions are recorded count as its own.
func servedNames(ctx context.Context, tx *pg.Tx, id instrument.ID, p sitePolicy) ([]string, error) {
	var names []string
	const q = `select limit_name from limit_span where plant_id = $1 and instrument_id = $2 order by 1`
	if err := tx.SelectContext(ctx, &names, q, tx.Plant, id); err != nil {
		return nil, fmt.Errorf("limits served: %w", err)
	}
	if slices.ContainsFunc(names, func(n string) bool { return n != "" }) {
		return names, nil
	}
	for _, l := range p.Limits {
		if l.Monitoring == limit.OnException {
			names = append(names, l.Name)
		}
	}
	return names, nil
}

// suspectLots: by a reading that names the lot, where the lot's span with the
// instrument lies in the window, or crosses its edge with a reading inside; by
// a stay where the instrument hung or read. What was quarantined counts as a
// reading. All edges are as wide as the instrument's clock was ever off.
const suspectLots = `
with k as (select make_interval(secs => coalesce(max(abs(coalesce(ahead_us, 0)) + bound_us), 0) / 1000000.0) as off
  from clock_offset where plant_id = $1 and instrument_id = $2),
w as (select coalesce($3::timestamptz - k.off, '-infinity'::timestamptz) as after, coalesce($4::timestamptz + k.off, 'infinity'::timestamptz) as until, k.off from k),
place as (
  select location_id, greatest(first_at, w.after) as since, least(last_at, w.until) as upto
  from location_span, w where plant_id = $1 and instrument_id = $2 and last_at > w.after and first_at <= w.until
  union all
  select location_id, greatest(mounted_from, w.after), least(coalesce(mounted_to, 'infinity'), w.until)
  from mounting, w where plant_id = $1 and instrument_id = $2
    and coalesce(mounted_to, 'infinity') > w.after and mounted_from <= w.until)
select s.lot_id from lot_span s, w
where s.plant_id = $1 and s.instrument_id = $2 and s.last_at > w.after and s.first_at <= w.until
  and (s.first_at > w.after and s.last_at <= w.until
    or exists (select from reading r where r.plant_id = $1 and r.instrument_id = $2
      and r.taken_at > greatest(w.after, s.first_at - interval '1 microsecond') and r.taken_at <= least(w.until, s.last_at)
      and r.lot_id = s.lot_id)
    or exists (select from reading_quarantine r where r.plant_id = $1 and r.instrument_id = $2
      and r.taken_at > w.after and r.taken_at <= w.until and r.lot_id = s.lot_id))
union
select y.lot_id from stay y join place p using (location_id), w
where y.plant_id = $1 and y.stayed_from <= p.upto + w.off and coalesce(y.stayed_to, 'infinity') >= p.since - w.off
order by 1`

// suspects returns the lots in doubt, and by limit those among them that no
// reading names.
func suspects(ctx context.Context, tx *pg.Tx, id instrument.ID, after, until int64, p sitePolicy) ([]lot.ID, map[string][]lot.ID, error) {
	var lots []lot.ID
	if err := tx.SelectContext(ctx, &lots, suspectLots, tx.Plant, id, moment(after), moment(until)); err != nil {
		return nil, nil, fmt.Errorf("suspect lots: %w", err)
	}
	silent, err := unread(ctx, tx, id, after, until, p)
	if err != nil || len(silent) == 0 {
		return lots, nil, err
	}
	for _, more := range silent {
		lots = append(lots, more...)
	}
	slices.Sort(lots)
	return slices.Compact(lots), silent, nil
}

func putLots(ctx context.Context, tx *pg.Tx, d Deviation, because map[lot.ID]lot.ID, order []lot.ID) error {
	const add = `insert into deviation_lot (plant_id, deviation_id, lot_id, because_of_lot_id)
		select $1, deviation_id, lot_id, because_of from json_to_recordset($2)
		as r(deviation_id bigint, lot_id bigint, because_of bigint) where $3::timestamptz is not null on conflict do nothing`
	type row struct {
		Deviation DeviationID `json:"deviation_id"`
		Lot       lot.ID      `json:"lot_id"`
		Because   lot.ID      `json:"because_of"`
	}
	rows := make([]row, len(order))
	for i, id := range order {
		rows[i] = row{d.ID, id, because[id]}
	}
	if _, err := tx.Insert(ctx, add, rows); err != nil {
		return fmt.Errorf("lots in doubt: %w", err)
	}
	return nil
}

// holdAll places holds on what is still in control. New holds on a deviation
// that was contained send it back: what nobody acknowledged is not contained.
func holdAll(ctx context.Context, tx *pg.Tx, d *Deviation, because map[lot.ID]lot.ID, order []lot.ID) error {
	where, err := lot.Positions(ctx, tx, order)
	if err != nil {
		return err
	}
	portions, err := lot.PortionsOf(ctx, tx, order)
	if err != nil {
		return err
	}
	var orders []hold.Order
	for _, id := range order {
		if p := where[id]; p.InControl {
			orders = append(orders, ordersFor(p, because[id], portions)...)
		}
	}
	if err := hold.TakeOver(ctx, tx, int64(d.ID), d.Instrument, orders); err != nil {
		return err
	}
	n, err := hold.Place(ctx, tx, int64(d.ID), orders)
	if err != nil {
		return err
	}
	if n > 0 {
		note := map[string]any{"placed": n, "lots_in_doubt": len(order)}
		if err := trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "hold.placed", Subject: fmt.Sprint(d.ID), After: note}); err != nil {
			return err
		}
	}
	return advance(ctx, tx, d)
}

// ordersFor holds what is in control of a lot: each portion that was named out of
// it and is still there, and what is left besides.
func ordersFor(p lot.Position, because lot.ID, all []lot.Portion) []hold.Order {
	rest := hold.Order{Portion: p.Portion, BecauseOf: because, Quantity: p.Quantity, Unit: p.Unit, Location: p.LocationID}
	var out []hold.Order
	var left *big.Rat
	if p.Quantity != nil {
		left = unit.Quantity{Amount: *p.Quantity}.Rat()
	}
	for _, o := range all {
		if o.Lot != p.Lot || o.Label == "" || o.Place == lot.OnTheRoad || lot.Ended(o.State) {
			continue
		}
		out = append(out, hold.Order{Portion: int64(o.ID), BecauseOf: because, Quantity: o.Quantity, Unit: o.Unit, Location: p.LocationID})
		if q := o.Amount(); left != nil && q != nil && orEmpty(p.Unit) == q.Unit {
			left.Sub(left, q.Rat())
		} else {
			left = nil
		}
	}
	switch {
	case out == nil:
	case left == nil || left.Sign() < 0:
		rest.Quantity, rest.Unit = nil, nil
	case left.Sign() == 0:
		return out
	default:
		q := unit.Decimal(left)
		rest.Quantity = &q
	}
	return append(out, rest)
}

// refuseUnit: a count in another unit counts something else.
func refuseUnit(h hold.Hold, counted unit.Quantity) error {
	if h.Unit != nil && *h.Unit != counted.Unit {
		return fault.New(fault.Invalid, "unknown-unit", "the hold is of %s %s: count it in %s, not in %s", *h.Quantity, *h.Unit, *h.Unit, counted.Unit).In("quantity_unit")
	}
	return nil
}

// AcknowledgeHold records that whoever guards the stock has a held portion under
// hold and how much they counted, in the hold's unit. seen is the version of
// the hold that they looked at. When the last one is acknowledged in full, the
// deviation is contained.
func (s *Service) AcknowledgeHold(ctx context.Context, sc pg.Scope, id hold.ID, seen int, counted unit.Quantity) (hold.Hold, error) {
	request := map[string]any{"hold": id, "seen": seen, "counted": counted}
	return do(ctx, s, sc, "acknowledge", request, statusDone, func(tx *pg.Tx) (hold.Hold, error) {
		h, err := hold.Get(ctx, tx, id)
		if err != nil {
			return h, err
		}
		if h.Deviation == 0 { // until its cascade is confirmed, which owns the plant
			if _, err := tx.SharePlant(ctx); err != nil {
				return h, err
			}
			if h, err = hold.Get(ctx, tx, id); err != nil {
				return h, err
			}
			if h.Deviation == 0 {
				return acknowledgeAlone(ctx, tx, h, seen, counted)
			}
		}
		d, err := lockDeviation(ctx, tx, DeviationID(h.Deviation))
		if err != nil {
			return h, err
		}
		if err := refuseUnit(h, counted); err != nil {
			return h, err
		}
		if err := hold.Acknowledge(ctx, tx, id, seen, counted); err != nil {
			return h, err
		}
		if err := advance(ctx, tx, &d); err != nil {
			return h, err
		}
		if h, err = hold.Get(ctx, tx, id); err != nil {
			return h, err
		}
		return h, trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "hold.acknowledged", Subject: h.LotCode,
			Version: h.Version, After: counted.String()})
	})
}
