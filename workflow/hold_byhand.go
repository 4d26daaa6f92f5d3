package workflow

import (
	"context"
	"fmt"
	"strings"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// PlaceHold places a hold by hand on a portion of a lot, the whole of it where
// portion is empty: anyone may who has a reason. It asks for no deviation. What
// was made of the lot is not held with it; the ship gate refuses that as long as
// the hold stands. The same reason again is the same hold.
func (s *Service) PlaceHold(ctx context.Context, sc pg.Scope, code, portion, reason string) (hold.Hold, error) {
	reason = strings.TrimSpace(reason)
	if reason == "" {
		return hold.Hold{}, fault.New(fault.Invalid, "reason-missing", "say why the lot is to stay where it is").In("reason")
	}
	request := map[string]any{"lot": code, "portion": portion, "reason": reason}
	return do(ctx, s, sc, "place hold", request, statusCreated, func(tx *pg.Tx) (hold.Hold, error) {
		if err := tx.OwnPlant(ctx); err != nil { // so that every question to the ship gate comes before or after
			return hold.Hold{}, err
		}
		h, fresh, err := hold.PlaceByHand(ctx, tx, code, portion, reason)
		if err != nil || !fresh {
			return h, err
		}
		return h, trail.Append(ctx, tx, trail.Entry{Stream: holdStream(h.ID, h.Deviation, h.Cascade), Action: "hold.placed",
			Subject: h.LotCode, Version: h.Version, Reason: reason})
	})
}

// holdStream is the stream of the trail that tells of a hold: that of its
// deviation or cascade, or its own.
func holdStream(id hold.ID, deviation, cascade int64) string {
	switch {
	case deviation != 0:
		return Deviation{ID: DeviationID(deviation)}.stream()
	case cascade != 0:
		return Cascade{ID: CascadeID(cascade)}.stream()
	}
	return fmt.Sprintf("hold/%d", id)
}

// acknowledgeAlone acknowledges a hold that no deviation asks for: placed by hand,
// or by a cascade, of which the deviation that takes it over finds it
// acknowledged. No state follows from it.
func acknowledgeAlone(ctx context.Context, tx *pg.Tx, h hold.Hold, seen int, counted unit.Quantity) (hold.Hold, error) {
	if err := refuseUnit(h, counted); err != nil {
		return h, err
	}
	if err := hold.Acknowledge(ctx, tx, h.ID, seen, counted); err != nil {
		return h, err
	}
	h, err := hold.Get(ctx, tx, h.ID)
	if err != nil {
		return h, err
	}
	return h, trail.Append(ctx, tx, trail.Entry{Stream: holdStream(h.ID, 0, h.Cascade), Action: "hold.acknowledged", Subject: h.LotCode,
		Version: h.Version, After: counted.String()})
}

// alarmMoved marks the holds on lots of which shipments were recorded, and tells
// the trail of each. What has happened is recorded; it is never refused.
func alarmMoved(ctx context.Context, tx *pg.Tx, list []lot.Shipment) error {
	left := make([]hold.Departure, len(list))
	for i, sh := range list {
		left[i] = hold.Departure{Lot: sh.Lot, Shipment: sh.Shipment}
	}
	moved, err := hold.MarkMoved(ctx, tx, left)
	if err != nil {
		return err
	}
	for _, m := range moved {
		after := map[string]any{"hold": m.ID, "shipment": m.Shipment, "consignee": m.Consignee, "quantity": m.Quantity,
			"quantity_unit": m.Unit, "before_hold": m.Gone}
		err := trail.Append(ctx, tx, trail.Entry{Stream: holdStream(m.ID, m.Deviation, m.Cascade), Action: "hold.moved", Subject: m.Lot,
			Version: m.Version, HappenedAt: m.ShippedAt, After: after})
		if err != nil {
			return err
		}
	}
	return nil
}
