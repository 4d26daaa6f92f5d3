package lot

import (
	"context"
	"fmt"
	"math/big"
	"slices"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/unit"
	"lastgood/workflow/pg"
)

// Whereabouts says where a portion is.
type Whereabouts string

// Where a portion can be.
const (
	InControl Whereabouts = "in_control"
	OnTheRoad Whereabouts = "shipped"
	Retrieved Whereabouts = "retrieved"
)

// PortionID is the database's number of a portion, within its plant.
type PortionID int64

// Portion is a stated quantity of a lot. The one without a label is what no other
// portion names; it has no quantity of its own.
type Portion struct {
	ID       PortionID   `db:"portion_id"`
	Lot      ID          `db:"lot_id"`
	LotCode  string      `db:"lot"`
	Label    string      `db:"label"`
	State    string      `db:"state"`
	Place    Whereabouts `db:"place"`
	Quantity *string     `db:"quantity"`
	Unit     *string     `db:"quantity_unit"`
	Pallet   *string     `db:"pallet"`
	Tag      *string     `db:"tag"`
	From     *time.Time  `db:"made_from"` // of production
	Until    *time.Time  `db:"made_until"`
	Shipment *string     `db:"shipment"`
	OutOf    *int64      `db:"out_of"` // the disposition by which it came back
	Version  int         `db:"version"`
}

// Amount returns how much it is; nil: not stated.
func (p Portion) Amount() *unit.Quantity {
	if p.Quantity == nil || p.Unit == nil {
		return nil
	}
	return &unit.Quantity{Amount: *p.Quantity, Unit: *p.Unit}
}

const portionColumns = `select p.portion_id, p.lot_id, l.code as lot, p.label, p.state, p.place, cast(p.quantity as text) as quantity, p.quantity_unit,
	p.pallet, p.tag, p.made_from, p.made_until, p.shipment, p.out_of, p.version from portion p join lot l using (plant_id, lot_id) where p.plant_id = $1 and `

// PortionsOf returns the portions of lots, in order of lot and label: what no
// other names comes first.
func PortionsOf(ctx context.Context, tx *pg.Tx, ids []ID) ([]Portion, error) {
	var list []Portion
	if err := tx.SelectContext(ctx, &list, portionColumns+`p.lot_id = any($2) order by l.code, p.label`, tx.Plant, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("portions: %w", err)
	}
	return list, nil
}

// AddPortion names a portion of a lot and returns it.
func AddPortion(ctx context.Context, tx *pg.Tx, p Portion) (Portion, error) {
	const add = `insert into portion (plant_id, lot_id, label, state, place, quantity, quantity_unit, pallet, tag, made_from, made_until,
		shipment, out_of, created_at, created_by)
		values ($1, $2, $3, $4, $5, cast($6 as numeric), $7, $8, $9, $10, $11, $12, $13, $14, $15) returning portion_id`
	err := tx.GetContext(ctx, &p.ID, add, tx.Plant, p.Lot, p.Label, p.State, p.Place, p.Quantity, p.Unit, p.Pallet, p.Tag, p.From, p.Until,
		p.Shipment, p.OutOf, tx.Now, tx.By.ID)
	if err != nil {
		return p, fmt.Errorf("portion %s of lot %s: %w", p.Label, p.LotCode, err)
	}
	p.Version = 1
	return p, nil
}

// SetPortionState says what has become of a portion.
func SetPortionState(ctx context.Context, tx *pg.Tx, id PortionID, state string) error {
	const q = `update portion set state = $3, version = version + 1 where plant_id = $1 and portion_id = $2 and state <> $3`
	if _, err := tx.ExecContext(ctx, q, tx.Plant, id, state); err != nil {
		return fmt.Errorf("portion %d: %w", id, err)
	}
	return nil
}

// Rest returns how much of a lot's quantity in control no other portion names;
// nil: not known. all are the lot's portions.
func Rest(inControl *unit.Quantity, all []Portion) *unit.Quantity {
	if inControl == nil {
		return nil
	}
	left := inControl.Rat()
	for _, p := range all {
		if p.Label == "" || p.Place != InControl {
			continue
		}
		q := p.Amount()
		if q == nil || q.Unit != inControl.Unit {
			return nil
		}
		left = new(big.Rat).Sub(left, q.Rat())
	}
	if left.Sign() < 0 {
		return nil
	}
	return &unit.Quantity{Amount: unit.Decimal(left), Unit: inControl.Unit}
}

// Ended says whether a portion in a state is no more: there is nothing of it to
// hold or to decide on.
func Ended(state string) bool {
	return slices.Contains([]string{"reworked", "reprocessed", "diverted", "destroyed", "accounted_unrecoverable"}, state)
}
