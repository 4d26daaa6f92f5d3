package lot

import (
	"context"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/unit"
	"lastgood/workflow/pg"
)

// Out is some of a lot that went somewhere: to a consignee, or into another lot.
type Out struct {
	Lot       ID        `db:"lot_id"`
	Ref       string    `db:"ref"` // the shipment, or the event
	Into      string    `db:"into"`
	Consignee string    `db:"consignee"` // of a shipment; empty: it went into a lot
	At        time.Time `db:"at"`
	Quantity  *string   `db:"quantity"`
	Unit      *string   `db:"quantity_unit"`
}

// Amount returns how much; nil: not stated.
func (o Out) Amount() *unit.Quantity {
	if o.Quantity == nil || o.Unit == nil {
		return nil
	}
	return &unit.Quantity{Amount: *o.Quantity, Unit: *o.Unit}
}

// Outs returns everything that went out of the lots, in order of lot and time.
func Outs(ctx context.Context, tx *pg.Tx, ids []ID) ([]Out, error) {
	const q = `
select lot_id, shipment as ref, '' as into, consignee, shipped_at as at, cast(quantity as text) as quantity, quantity_unit
from shipment where plant_id = $1 and lot_id = any($2)
union all
select t.input_lot_id, t.event, l.code, '', t.at, cast(t.input_quantity as text), t.quantity_unit
from transformation t join lot l on l.plant_id = t.plant_id and l.lot_id = t.output_lot_id
where t.plant_id = $1 and t.input_lot_id = any($2)
order by 1, 5, 2, 3`
	var list []Out
	if err := tx.SelectContext(ctx, &list, q, tx.Plant, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("what went out of lots: %w", err)
	}
	return list, nil
}
