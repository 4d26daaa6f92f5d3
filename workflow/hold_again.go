package workflow

import (
	"context"
	"fmt"
	"slices"

	"lastgood/workflow/decision"
	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// holdAgain holds what a deviation held once, and must hold now: what an ended
// disposition had let go, whatever else holds it, and what QA took off hold while
// the run did not doubt the lot, and it does now.
func (c *docket) holdAgain(ctx context.Context, tx *pg.Tx, ended []decision.Decision) error {
	if c.d.State == CancelledInError {
		return nil
	}
	var list []lot.Portion
	for _, dec := range ended {
		p := c.portion(dec.Portion)
		if p.State == string(Released) || dec.State == decision.Executed && !lot.Ended(p.State) {
			list = append(list, p)
		}
	}
	for _, p := range c.toDecide() {
		if dec, has := c.decision(p.ID); !has || dec.State != decision.Executed {
			list = append(list, p)
		}
	}
	list = slices.DeleteFunc(list, func(p lot.Portion) bool {
		return p.Place == lot.OnTheRoad || slices.ContainsFunc(c.holds, func(h hold.Hold) bool { return h.Lot == p.Lot && h.Portion == p.Label })
	})
	if len(list) == 0 {
		return nil
	}
	var lots []lot.ID
	for _, p := range list {
		lots = append(lots, p.Lot)
	}
	where, err := lot.Positions(ctx, tx, lots)
	if err != nil {
		return err
	}
	for _, p := range list {
		if p.Place == lot.InControl && !where[p.Lot].InControl {
			continue
		}
		if err := hold.Again(ctx, tx, int64(c.d.ID), p.ID, c.quantity(p)); err != nil {
			return err
		}
	}
	return nil
}

// othersToo brings every other open deviation that doubts a lot up to what one of
// them did with it: portions and their quantities are of the lot, and not of one
// deviation.
func othersToo(ctx context.Context, tx *pg.Tx, id DeviationID, of lot.ID, why string) error {
	list, err := othersThatDoubt(ctx, tx, id, of)
	if err != nil {
		return err
	}
	for _, o := range list {
		d, err := lockDeviation(ctx, tx, o)
		if err != nil {
			return err
		}
		if err := refresh(ctx, tx, &d, why); err != nil {
			return err
		}
		if err := advance(ctx, tx, &d); err != nil {
			return err
		}
	}
	return nil
}

func othersThatDoubt(ctx context.Context, tx *pg.Tx, id DeviationID, of lot.ID) (list []DeviationID, err error) {
	const q = `select deviation_id from deviation join deviation_lot using (plant_id, deviation_id)
		where plant_id = $1 and lot_id = $2 and deviation_id <> $3 and state not in ('closed', 'cancelled_in_error') order by 1`
	if err := tx.SelectContext(ctx, &list, q, tx.Plant, of, id); err != nil {
		return nil, fmt.Errorf("other deviations: %w", err)
	}
	return list, nil
}
