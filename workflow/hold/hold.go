// Package hold owns the orders to keep product where it is. Anyone may place
// one; it counts when whoever guards the stock has acknowledged it with a
// counted quantity; only QA lifts one.
package hold

import (
	"context"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// ID is the database's number of a hold, within its plant.
type ID int64

// Hold is an order to keep a portion where it is. A nil Quantity: nobody knows
// how much is left.
type Hold struct {
	ID             ID         `db:"hold_id"`
	Lot            lot.ID     `db:"lot_id"`
	LotCode        string     `db:"lot"`
	BecauseOf      string     `db:"because_of"`
	Deviation      int64      `db:"deviation_id"` // 0: none; a cascade pends, or it was placed by hand
	Cascade        int64      `db:"cascade_id"`   // that placed it before there was a deviation; 0: none
	Reason         string     `db:"reason"`       // of one that was placed by hand; empty: it was not
	Portion        string     `db:"portion"`      // label; empty: the whole lot
	Quantity       *string    `db:"quantity"`
	Unit           *string    `db:"quantity_unit"`
	Location       *string    `db:"location"`
	PlacedAt       time.Time  `db:"placed_at"`
	PlacedBy       string     `db:"placed_by"`
	AcknowledgedAt *time.Time `db:"acknowledged_at"`
	Counted        *string    `db:"counted_quantity"`
	CountedUnit    *string    `db:"counted_unit"`
	Short          bool       `db:"short"`
	MovedAt        *time.Time `db:"moved_at"`   // product left, by a shipment that was recorded while the hold stood
	AllowedAt      *time.Time `db:"allowed_at"` // the ship gate had just allowed it
	Version        int        `db:"version"`
}

// Order is a hold to be placed.
type Order struct {
	Portion   int64   `json:"portion_id"`
	BecauseOf lot.ID  `json:"because_of_lot_id"`
	Quantity  *string `json:"quantity"`
	Unit      *string `json:"quantity_unit"`
	Location  *int32  `json:"location_id"`
}

// Place places holds for a deviation and returns how many are new. A portion
// that it holds already stays held as it is, and one that it held before and let
// go stays let go: whoever takes that back places the hold again.
func Place(ctx context.Context, tx *pg.Tx, deviation int64, orders []Order) (int, error) {
	return place(ctx, tx, &deviation, nil, orders)
}

// PlaceAhead places holds for a cascade that nobody has confirmed yet: the
// deviations that will ask for them come later, and take them over.
func PlaceAhead(ctx context.Context, tx *pg.Tx, cascade int64, orders []Order) (int, error) {
	return place(ctx, tx, nil, &cascade, orders)
}

func place(ctx context.Context, tx *pg.Tx, deviation, cascade *int64, orders []Order) (int, error) {
	const place = `
with h as (
  insert into hold (plant_id, portion_id, deviation_id, cascade_id, because_of_lot_id, quantity, quantity_unit, location_id,
    placed_at, placed_by)
  select $1, portion_id, deviation_id, cascade_id, because_of_lot_id, quantity, quantity_unit, location_id, $3, placed_by
  from json_to_recordset($2) as r(portion_id bigint, deviation_id bigint, cascade_id bigint, because_of_lot_id bigint,
    quantity numeric, quantity_unit text, location_id int, placed_by text)
  where not exists (select from hold o where o.plant_id = $1 and o.deviation_id = r.deviation_id and o.portion_id = r.portion_id)
  order by portion_id on conflict do nothing returning plant_id, portion_id),
p as (
  update portion set state = 'on_hold', version = version + 1 from h
  where portion.plant_id = h.plant_id and portion.portion_id = h.portion_id and portion.state in ('free', 'released')
  returning 1)
select count(*) from h where (select count(*) from p) >= 0`
	type row struct {
		Order
		Deviation *int64 `json:"deviation_id"`
		Cascade   *int64 `json:"cascade_id"`
		By        string `json:"placed_by"`
	}
	rows := make([]row, len(orders))
	for i, o := range orders {
		rows[i] = row{o, deviation, cascade, tx.By.ID}
	}
	n, err := tx.InsertCount(ctx, place, rows)
	if err != nil {
		return 0, fmt.Errorf("place holds: %w", err)
	}
	if n == 0 {
		return 0, nil
	}
	return n, markAllowed(ctx, tx)
}

// TakeOver lets a deviation of an instrument take over the holds that cascades
// placed ahead of it: what was acknowledged and counted stays so.
func TakeOver(ctx context.Context, tx *pg.Tx, deviation int64, id instrument.ID, orders []Order) error {
	const take = `
update hold h set deviation_id = $2, version = version + 1
where h.plant_id = $1 and h.hold_id in (
  select distinct on (a.portion_id) a.hold_id from hold a
  where a.plant_id = $1 and a.deviation_id is null and a.lifted_at is null and a.portion_id = any($4)
    and exists (select from cascade_window w where w.plant_id = $1 and w.cascade_id = a.cascade_id and w.instrument_id = $3)
    and not exists (select from hold o where o.plant_id = $1 and o.deviation_id = $2 and o.portion_id = a.portion_id)
  order by a.portion_id, a.acknowledged_at, a.hold_id)`
	portions := make([]int64, len(orders))
	for i, o := range orders {
		portions[i] = o.Portion
	}
	if _, err := tx.ExecContext(ctx, take, tx.Plant, deviation, id, pq.Array(portions)); err != nil {
		return fmt.Errorf("take over holds: %w", err)
	}
	return nil
}

const columns = `
select h.hold_id, p.lot_id, l.code as lot, b.code as because_of, coalesce(h.deviation_id, 0) as deviation_id,
  coalesce(h.cascade_id, 0) as cascade_id, coalesce(h.reason, '') as reason, p.label as portion, cast(h.quantity as text) as quantity,
  h.quantity_unit, loc.code as location, h.placed_at, h.placed_by, h.acknowledged_at,
  cast(h.counted_quantity as text) as counted_quantity, case when h.counted_quantity is not null then coalesce(h.counted_unit, h.quantity_unit) end as counted_unit,
  h.acknowledged_at is not null and coalesce(h.counted_quantity < h.quantity, false) as short, h.moved_at, h.allowed_at, h.version
from hold h join portion p using (plant_id, portion_id) join lot l using (plant_id, lot_id)
join lot b on b.plant_id = h.plant_id and b.lot_id = h.because_of_lot_id
left join location loc on loc.plant_id = h.plant_id and loc.location_id = h.location_id
where h.plant_id = $1 and h.lifted_at is null and `

// Of returns the standing holds of a deviation, in order of lot.
func Of(ctx context.Context, tx *pg.Tx, deviation int64) ([]Hold, error) {
	list := []Hold{}
	err := tx.SelectContext(ctx, &list, columns+`h.deviation_id = $2 order by l.code, h.hold_id`, tx.Plant, deviation)
	return list, err
}

// After returns up to limit standing holds with numbers above after; of one
// deviation if it is not zero.
func After(ctx context.Context, tx *pg.Tx, deviation, after int64, limit int) ([]Hold, error) {
	list := []Hold{}
	err := tx.SelectContext(ctx, &list, columns+`h.hold_id > $2 and ($3 = 0 or h.deviation_id = $3) order by h.hold_id limit $4`,
		tx.Plant, after, deviation, limit)
	return list, err
}

// Get returns one standing hold.
func Get(ctx context.Context, tx *pg.Tx, id ID) (Hold, error) {
	var h Hold
	err := tx.GetContext(ctx, &h, columns+`h.hold_id = $2`, tx.Plant, id)
	return h, err
}

// Acknowledge records that whoever guards the stock has it under hold, and how
// much they counted. seen is the version they looked at.
func Acknowledge(ctx context.Context, tx *pg.Tx, id ID, seen int, counted unit.Quantity) error {
	const q = `update hold set acknowledged_at = $3, acknowledged_by = $4, counted_quantity = cast($5 as numeric), counted_unit = $7,
		version = version + 1 where plant_id = $1 and hold_id = $2 and version = $6 and lifted_at is null`
	res, err := tx.ExecContext(ctx, q, tx.Plant, id, tx.Now, tx.By.ID, counted.Amount, seen, counted.Unit)
	if err != nil {
		return fmt.Errorf("acknowledge hold %d: %w", id, err)
	}
	if n, _ := res.RowsAffected(); n != 1 {
		return fault.New(fault.Stale, "precondition-failed", "the hold has changed since version %d", seen)
	}
	return nil
}
