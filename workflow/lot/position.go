package lot

import (
	"context"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/pg"
)

// Stored is a lot as the database knows it, with what is known of its product.
type Stored struct {
	ID         ID         `db:"lot_id"`
	Code       string     `db:"code"`
	Product    *string    `db:"product"`
	ReadyToEat *bool      `db:"ready_to_eat"`
	Growth     *bool      `db:"supports_growth"`
	Consumers  *string    `db:"consumers"`
	ShelfLife  *int       `db:"shelf_life_days"`
	MadeAt     *time.Time `db:"made_at"`
	MadeFrom   *time.Time `db:"made_from"`
	MadeUntil  *time.Time `db:"made_until"`
	Quantity   *string    `db:"quantity"`
	Unit       *string    `db:"quantity_unit"`
}

// Get returns lots by number.
func Get(ctx context.Context, tx *pg.Tx, ids []ID) (map[ID]Stored, error) {
	const q = `select l.lot_id, l.code, p.code as product, p.ready_to_eat, p.supports_growth, p.consumers, p.shelf_life_days,
		l.made_at, l.made_from, l.made_until, cast(l.quantity as text) as quantity, l.quantity_unit
		from lot l left join product p using (plant_id, product_id)
		where l.plant_id = $1 and l.lot_id = any($2)`
	var rows []Stored
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("lots: %w", err)
	}
	m := make(map[ID]Stored, len(rows))
	for _, r := range rows {
		m[r.ID] = r
	}
	return m, nil
}

// Position is how much of a lot is still in the plant's control, and where. A
// nil Quantity: unknown, and then taken to be in control.
type Position struct {
	Lot        ID      `db:"lot_id"`
	Portion    int64   `db:"portion_id"`
	Quantity   *string `db:"quantity"`
	Unit       *string `db:"quantity_unit"`
	LocationID *int32  `db:"location_id"`
	InControl  bool    `db:"in_control"`
}

// PositionsSQL answers with the position of each lot of $2 in the plant $1, for
// whoever needs positions and other things of one moment.
//
// in control = made − used in other lots − shipped + retrieved − destroyed, taken
// as samples or lost when a disposition was carried out. Where a use or a shipment is
// in another unit, its quantity is unknown, or more went than was made, the sum
// cannot be made: then the lot counts as in control and the quantity as unknown.
//
// One event lists a pair for each input and output, with the share of the input
// that went into the output: shares add up. Some exports repeat the whole use
// before each output instead. Where nothing is left by adding, and something if
// equal quantities of an event are one use repeated, the lot counts as in
// control and the quantity as unknown: too much is held, never too little.
const PositionsSQL = `
with used as (
  select lot_id, sum(shares) as quantity, sum(once) as least, bool_or(vague) as vague, array_agg(distinct unit) as units
  from (select input_lot_id as lot_id, sum(input_quantity) as shares, sum(distinct input_quantity) as once,
      bool_or(input_quantity is null or quantity_unit is null) as vague, min(quantity_unit) as unit
    from transformation where plant_id = $1 and input_lot_id = any($2) group by input_lot_id, event, quantity_unit) t
  group by 1),
gone as (
  select lot_id, sum(quantity) as quantity, bool_or(quantity is null or quantity_unit is null) as vague,
    array_agg(distinct quantity_unit) as units
  from shipment where plant_id = $1 and lot_id = any($2) group by 1),
decided as (
  select p.lot_id, sum(case when e.fate = 'retrieved' then e.quantity else -e.quantity end) as quantity, array_agg(distinct e.quantity_unit) as units
  from portion p join disposition d on d.plant_id = $1 and d.portion_id = p.portion_id join execution e on e.plant_id = $1 and e.disposition_id = d.disposition_id
  where p.plant_id = $1 and p.lot_id = any($2) and e.fate in ('retrieved', 'destroyed', 'samples', 'process_loss') group by 1),
place as (
  select distinct on (lot_id) lot_id, location_id from stay
  where plant_id = $1 and lot_id = any($2) order by lot_id, stayed_from desc),
sums as (
  select l.lot_id, l.quantity_unit,
    case when l.quantity is not null and not coalesce(used.vague, false) and not coalesce(gone.vague, false)
      and coalesce(used.units, array[l.quantity_unit]) = array[l.quantity_unit]
      and coalesce(gone.units, array[l.quantity_unit]) = array[l.quantity_unit]
      and coalesce(decided.units, array[l.quantity_unit]) = array[l.quantity_unit]
    then l.quantity - coalesce(used.quantity, 0) - coalesce(gone.quantity, 0) + coalesce(decided.quantity, 0) end as quantity,
    coalesce(used.least, 0) < coalesce(used.quantity, 0) as repeated
  from lot l left join used using (lot_id) left join gone using (lot_id) left join decided using (lot_id)
  where l.plant_id = $1 and l.lot_id = any($2))
select s.lot_id, p.portion_id, case when s.known then cast(s.quantity as text) end as quantity,
  case when s.known then s.quantity_unit end as quantity_unit,
  place.location_id, coalesce(s.quantity <> 0 or s.repeated, true) as in_control
from (select *, quantity > 0 or quantity = 0 and not repeated as known from sums) s join portion p on p.plant_id = $1 and p.lot_id = s.lot_id and p.label = ''
left join place on place.lot_id = s.lot_id`

// Positions returns the position of each lot.
func Positions(ctx context.Context, tx *pg.Tx, ids []ID) (map[ID]Position, error) {
	var rows []Position
	if err := tx.SelectContext(ctx, &rows, PositionsSQL, tx.Plant, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("positions: %w", err)
	}
	m := make(map[ID]Position, len(rows))
	for _, r := range rows {
		m[r.Lot] = r
	}
	return m, nil
}

// Gone is a shipment of a lot.
type Gone struct {
	Lot       ID        `db:"lot_id"`
	Shipment  string    `db:"shipment"`
	Consignee string    `db:"consignee"`
	Quantity  *string   `db:"quantity"`
	Unit      *string   `db:"quantity_unit"`
	ShippedAt time.Time `db:"shipped_at"`
}

// Shipped returns what of the lots has gone, in order of lot and time.
func Shipped(ctx context.Context, tx *pg.Tx, ids []ID) ([]Gone, error) {
	const q = `select lot_id, shipment, consignee, cast(quantity as text) as quantity, quantity_unit, shipped_at
		from shipment where plant_id = $1 and lot_id = any($2) order by lot_id, shipped_at, shipment`
	rows := []Gone{}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("shipped: %w", err)
	}
	return rows, nil
}
