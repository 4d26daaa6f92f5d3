package workflow

import (
	"context"

	"lastgood/policy/unit"
	"lastgood/workflow/hold"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// acknowledgeAhead acknowledges a hold that no deviation asks for yet. No state
// follows from it; the deviation that takes the hold over finds it acknowledged.
func acknowledgeAhead(ctx context.Context, tx *pg.Tx, h hold.Hold, seen int, counted unit.Quantity) (hold.Hold, error) {
	if err := refuseUnit(h, counted); err != nil {
		return h, err
	}
	if err := hold.Acknowledge(ctx, tx, h.ID, seen, counted.Amount); err != nil {
		return h, err
	}
	h, err := hold.Get(ctx, tx, h.ID)
	if err != nil {
		return h, err
	}
	return h, trail.Append(ctx, tx, trail.Entry{Stream: Cascade{ID: CascadeID(h.Cascade)}.stream(), Action: "hold.acknowledged", Subject: h.LotCode,
		Version: h.Version, After: counted.String()})
}
