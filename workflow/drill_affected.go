package workflow

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// affected returns what would be held and what has gone, found as widely as
// containment looks.
func (e *evidence) affected(ctx context.Context, tx *pg.Tx) ([]hold.Hold, []Shipped, error) {
	lots, _, err := suspects(ctx, tx, e.in.ID, e.after, e.until, e.policy)
	if err != nil {
		return nil, nil, err
	}
	because, order, err := lot.Descendants(ctx, tx, lots)
	if err != nil {
		return nil, nil, err
	}
	where, err := lot.Positions(ctx, tx, order)
	if err != nil {
		return nil, nil, err
	}
	gone, err := lot.Shipped(ctx, tx, order)
	if err != nil {
		return nil, nil, err
	}
	return e.wouldHold(because, order, where), e.left(because, gone), nil
}

func (e *evidence) wouldHold(because map[lot.ID]lot.ID, order []lot.ID, where map[lot.ID]lot.Position) []hold.Hold {
	holds := []hold.Hold{}
	for _, id := range order {
		p := where[id]
		if !p.InControl {
			continue
		}
		h := hold.Hold{Lot: id, LotCode: e.lots[id].Code, BecauseOf: e.lots[because[id]].Code, Quantity: p.Quantity, Unit: p.Unit}
		if p.LocationID != nil {
			place := e.places[*p.LocationID]
			h.Location = &place
		}
		holds = append(holds, h)
	}
	slices.SortFunc(holds, func(a, b hold.Hold) int { return strings.Compare(a.LotCode, b.LotCode) })
	return holds
}

func (e *evidence) left(because map[lot.ID]lot.ID, gone []lot.Gone) []Shipped {
	left := []Shipped{}
	for _, g := range gone {
		left = append(left, Shipped{Lot: e.lots[g.Lot].Code, BecauseOf: e.lots[because[g.Lot]].Code, Shipment: g.Shipment,
			Consignee: g.Consignee, Quantity: g.Quantity, Unit: g.Unit, ShippedAt: g.ShippedAt})
	}
	slices.SortFunc(left, func(a, b Shipped) int {
		return cmp.Or(strings.Compare(a.Lot, b.Lot), a.ShippedAt.Compare(b.ShippedAt), strings.Compare(a.Shipment, b.Shipment))
	})
	return left
}
