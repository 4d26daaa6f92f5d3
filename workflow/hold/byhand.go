package hold

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// PlaceByHand places a hold that no deviation asks for, on a portion of a lot
// that somebody does not want to move, and returns it. The same reason again on
// the same portion is the hold that stands already; fresh is false then. The
// caller owns the plant.
func PlaceByHand(ctx context.Context, tx *pg.Tx, code, portion, reason string) (h Hold, fresh bool, err error) {
	l, err := lot.ByCode(ctx, tx, code)
	if err != nil {
		return h, false, err
	}
	var place struct {
		Portion int64  `db:"portion_id"`
		Hold    int64  `db:"hold_id"`
		State   string `db:"state"`
	}
	const find = `select p.portion_id, coalesce(h.hold_id, 0) as hold_id, p.state from portion p
		left join hold h on h.plant_id = $1 and h.portion_id = p.portion_id and h.lifted_at is null and h.reason = $4
		where p.plant_id = $1 and p.lot_id = $2 and p.label = $3`
	switch err := tx.GetContext(ctx, &place, find, tx.Plant, l.ID, portion, reason); {
	case errors.Is(err, sql.ErrNoRows):
		return h, false, fault.New(fault.NotFound, "unknown-portion", "lot %s has no portion %s", code, portion)
	case err != nil:
		return h, false, fmt.Errorf("hold by hand: %w", err)
	case lot.Ended(place.State):
		return h, false, fault.New(fault.Refused, "portion-gone", "that portion of lot %s is %s: there is nothing of it to hold", code, place.State)
	case place.Hold != 0:
		h, err := Get(ctx, tx, ID(place.Hold))
		return h, false, err
	}
	where, err := lot.Positions(ctx, tx, []lot.ID{lot.ID(l.ID)})
	if err != nil {
		return h, false, err
	}
	p := where[lot.ID(l.ID)]
	if portion != "" { // how much of the lot the portion is, nobody has said
		p.Quantity, p.Unit = nil, nil
	}
	const add = `
with h as (
  insert into hold (plant_id, portion_id, because_of_lot_id, reason, quantity, quantity_unit, location_id, placed_at, placed_by)
  values ($1, $2, $3, $4, cast($5 as numeric), $6, $7, $8, $9) returning hold_id),
p as (
  update portion set state = 'on_hold', version = version + 1 where plant_id = $1 and portion_id = $2 and state = 'free')
select hold_id from h`
	var id ID
	err = tx.GetContext(ctx, &id, add, tx.Plant, place.Portion, l.ID, reason, p.Quantity, p.Unit, p.LocationID, tx.Now, tx.By.ID)
	if err != nil {
		return h, false, fmt.Errorf("hold by hand: %w", err)
	}
	if err := markAllowed(ctx, tx); err != nil {
		return h, false, err
	}
	h, err = Get(ctx, tx, id)
	return h, true, err
}
