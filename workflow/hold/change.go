package hold

import (
	"context"
	"fmt"

	"lastgood/policy/unit"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Again holds a portion that a deviation had held and let go, because what let it
// go does not stand any more. left is how much of it there is now; nil: not known.
func Again(ctx context.Context, tx *pg.Tx, deviation int64, portion lot.PortionID, left *unit.Quantity) error {
	const q = `
with h as (
  insert into hold (plant_id, portion_id, deviation_id, because_of_lot_id, quantity, quantity_unit, location_id, placed_at, placed_by)
  select plant_id, portion_id, deviation_id, because_of_lot_id, cast($6 as numeric), $7, location_id, $4, $5 from hold
  where plant_id = $1 and deviation_id = $2 and portion_id = $3 order by hold_id desc limit 1
  on conflict do nothing returning 1)
update portion set state = 'on_hold', version = version + 1
where plant_id = $1 and portion_id = $3 and state in ('free', 'released') and (select count(*) from h) > 0`
	var amount, of *string
	if left != nil {
		amount, of = &left.Amount, &left.Unit
	}
	if _, err := tx.ExecContext(ctx, q, tx.Plant, deviation, portion, tx.Now, tx.By.ID, amount, of); err != nil {
		return fmt.Errorf("hold again: %w", err)
	}
	return markAllowed(ctx, tx)
}

// Lift ends the standing holds of a deviation on a portion. The portion is then
// in the given state, unless another hold stands on it.
func Lift(ctx context.Context, tx *pg.Tx, deviation int64, portion lot.PortionID, state, why string) error {
	return lift(ctx, tx, `deviation_id = $6`, portion, state, why, deviation)
}

// LiftOne ends one standing hold. Its portion is free then, unless another hold
// stands on it.
func LiftOne(ctx context.Context, tx *pg.Tx, id ID, portion lot.PortionID, why string) error {
	return lift(ctx, tx, `hold_id = $6`, portion, "free", why, int64(id))
}

func lift(ctx context.Context, tx *pg.Tx, which string, portion lot.PortionID, state, why string, arg int64) error {
	q := `update hold set lifted_at = $3, lifted_by = $4, lift_reason = $5, version = version + 1
		where plant_id = $1 and portion_id = $2 and lifted_at is null and ` + which
	if _, err := tx.ExecContext(ctx, q, tx.Plant, portion, tx.Now, tx.By.ID, why, arg); err != nil {
		return fmt.Errorf("lift hold: %w", err)
	}
	const then = `update portion p set state = $3, version = version + 1 where plant_id = $1 and portion_id = $2 and state <> $3
		and ($3 not in ('free', 'released') or not exists (select from hold h where h.plant_id = $1 and h.portion_id = $2 and h.lifted_at is null))`
	if _, err := tx.ExecContext(ctx, then, tx.Plant, portion, state); err != nil {
		return fmt.Errorf("lift hold: %w", err)
	}
	return nil
}

// Others counts the standing holds on a portion that are not a deviation's.
func Others(ctx context.Context, tx *pg.Tx, deviation int64, portion lot.PortionID) (n int, err error) {
	const q = `select count(*) from hold where plant_id = $1 and portion_id = $2 and lifted_at is null and deviation_id is distinct from $3`
	if err := tx.GetContext(ctx, &n, q, tx.Plant, portion, deviation); err != nil {
		return 0, fmt.Errorf("other holds: %w", err)
	}
	return n, nil
}

// LiftAll ends every standing hold on a portion that is no more.
func LiftAll(ctx context.Context, tx *pg.Tx, portion lot.PortionID, state, why string) error {
	return lift(ctx, tx, `$6 > 0`, portion, state, why, 1)
}

// PortionOf returns the portion that a standing hold is on.
func PortionOf(ctx context.Context, tx *pg.Tx, id ID) (p lot.PortionID, err error) {
	const q = `select portion_id from hold where plant_id = $1 and hold_id = $2 and lifted_at is null`
	return p, tx.GetContext(ctx, &p, q, tx.Plant, id)
}

// Divide carries the standing holds on what no other portion names over to a
// portion that was named out of it. Who acknowledged the whole has acknowledged
// the part; what is left is held with what is left of the quantity, and not at all
// if that is nothing.
func Divide(ctx context.Context, tx *pg.Tx, rest lot.PortionID, part lot.Portion, nothingLeft bool) error {
	const part1 = `
insert into hold (plant_id, portion_id, deviation_id, cascade_id, reason, because_of_lot_id, quantity, quantity_unit, location_id, placed_at, placed_by,
  acknowledged_at, acknowledged_by, counted_quantity, counted_unit)
select plant_id, $3, deviation_id, cascade_id, reason, because_of_lot_id, cast($4 as numeric), $5, location_id, placed_at, placed_by,
  case when whole then acknowledged_at end, case when whole then acknowledged_by end, case when whole then cast($4 as numeric) end, case when whole then $5 end
from (select *, acknowledged_at is not null and coalesce(counted_quantity >= quantity, true) as whole from hold) h
where plant_id = $1 and portion_id = $2 and lifted_at is null`
	if _, err := tx.ExecContext(ctx, part1, tx.Plant, rest, part.ID, part.Quantity, part.Unit); err != nil {
		return fmt.Errorf("divide hold: %w", err)
	}
	const less = `update hold set version = version + 1,
		quantity = case when quantity_unit = $4 then greatest(quantity - cast($3 as numeric), 0) else quantity end,
		counted_quantity = case when coalesce(counted_unit, quantity_unit) = $4 then greatest(counted_quantity - cast($3 as numeric), 0) else counted_quantity end
		where plant_id = $1 and portion_id = $2 and lifted_at is null`
	if _, err := tx.ExecContext(ctx, less, tx.Plant, rest, part.Quantity, part.Unit); err != nil {
		return fmt.Errorf("divide hold: %w", err)
	}
	const state = `update portion set state = (select state from portion where plant_id = $1 and portion_id = $2) where plant_id = $1 and portion_id = $3`
	if _, err := tx.ExecContext(ctx, state, tx.Plant, rest, part.ID); err != nil {
		return fmt.Errorf("divide hold: %w", err)
	}
	if !nothingLeft {
		return nil
	}
	const empty = `update hold set lifted_at = $3, lifted_by = $4, lift_reason = 'nothing is left that no portion names', version = version + 1
		where plant_id = $1 and portion_id = $2 and lifted_at is null`
	if _, err := tx.ExecContext(ctx, empty, tx.Plant, rest, tx.Now, tx.By.ID); err != nil {
		return fmt.Errorf("divide hold: %w", err)
	}
	return lot.SetPortionState(ctx, tx, rest, "free")
}

// OnPortion places a hold of a deviation on a portion that came back.
func OnPortion(ctx context.Context, tx *pg.Tx, deviation int64, p lot.Portion) error {
	const q = `insert into hold (plant_id, portion_id, deviation_id, because_of_lot_id, quantity, quantity_unit, placed_at, placed_by)
		values ($1, $2, $3, $4, cast($5 as numeric), $6, $7, $8)`
	if _, err := tx.ExecContext(ctx, q, tx.Plant, p.ID, deviation, p.Lot, p.Quantity, p.Unit, tx.Now, tx.By.ID); err != nil {
		return fmt.Errorf("hold what came back: %w", err)
	}
	return lot.SetPortionState(ctx, tx, p.ID, "on_hold")
}
