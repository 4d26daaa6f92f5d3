package hold

import (
	"context"
	"fmt"
	"time"

	"lastgood/workflow/pg"
)

// Moved is a hold whose product left all the same.
type Moved struct {
	ID        ID        `db:"hold_id"`
	Lot       string    `db:"lot"`
	Deviation int64     `db:"deviation_id"`
	Cascade   int64     `db:"cascade_id"`
	Version   int       `db:"version"`
	Shipment  string    `db:"shipment"`
	Consignee string    `db:"consignee"`
	Quantity  *string   `db:"quantity"`
	Unit      *string   `db:"quantity_unit"`
	ShippedAt time.Time `db:"shipped_at"`
	// Gone: it had left before the hold was placed, and only its record is late.
	Gone bool `db:"gone"`
}

// Departure names a shipment of a lot.
type Departure struct {
	Lot      string `json:"lot"`
	Shipment string `json:"shipment"`
}

// MarkMoved marks the standing holds on lots of which shipments were recorded,
// and returns them, one for each hold and shipment, in order of the streams of
// the trail. The first time that product left is kept.
func MarkMoved(ctx context.Context, tx *pg.Tx, list []Departure) ([]Moved, error) {
	const mark = `
with s as (
  select h.hold_id, l.code as lot, s.shipment, s.consignee, s.quantity, s.quantity_unit, s.shipped_at, s.shipped_at < h.placed_at as gone
  from json_to_recordset($2) as r(lot text, shipment text)
  join lot l on l.plant_id = $1 and l.code = r.lot
  join shipment s on s.plant_id = $1 and s.lot_id = l.lot_id and s.shipment = r.shipment
  join portion p on p.plant_id = $1 and p.lot_id = l.lot_id
  join hold h on h.plant_id = $1 and h.portion_id = p.portion_id and h.lifted_at is null
  where $3::timestamptz is not null),
m as (
  update hold h set moved_at = least(h.moved_at, f.first), version = version + 1
  from (select hold_id, min(shipped_at) as first from s group by 1) f
  where h.plant_id = $1 and h.hold_id = f.hold_id
  returning h.hold_id, coalesce(h.deviation_id, 0) as deviation_id, coalesce(h.cascade_id, 0) as cascade_id, h.version)
select m.hold_id, s.lot, m.deviation_id, m.cascade_id, m.version, s.shipment, s.consignee, cast(s.quantity as text) as quantity,
  s.quantity_unit, s.shipped_at, s.gone
from m join s using (hold_id) order by m.deviation_id, m.cascade_id, m.hold_id, s.shipped_at, s.shipment`
	var out []Moved
	if err := tx.InsertReturning(ctx, &out, mark, list); err != nil {
		return nil, fmt.Errorf("moved product: %w", err)
	}
	return out, nil
}

// markAllowed marks the holds placed just now on lots that the ship gate allowed
// to be loaded so shortly before that they may be on their way. Whoever places
// holds owns the plant, so every question was answered before, or sees them.
func markAllowed(ctx context.Context, tx *pg.Tx) error {
	const mark = `
update hold h set allowed_at = a.asked_at
from (select x.lot_id, max(q.asked_at) as asked_at from ship_question q cross join lateral unnest(q.allowed) as x(lot_id)
  where q.plant_id = $1 and q.asked_at > $2::timestamptz - interval '1 minute' and q.valid_until > $2 group by 1) a
join portion p on p.plant_id = $1 and p.lot_id = a.lot_id
where h.plant_id = $1 and h.portion_id = p.portion_id and h.placed_at = $2 and h.lifted_at is null`
	if _, err := tx.ExecContext(ctx, mark, tx.Plant, tx.Now); err != nil {
		return fmt.Errorf("allowed just before: %w", err)
	}
	return nil
}
