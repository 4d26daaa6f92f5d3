package workflow

import (
	"context"
	"math/big"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// MostTraced is how many lots one answer of a genealogy holds.
const MostTraced = 50_000

// LotNode is a lot of a genealogy. Nil: unknown.
type LotNode struct {
	Lot       string
	Steps     int // the fewest from the lot that was asked for
	Product   *string
	MadeAt    *time.Time
	MadeFrom  *time.Time
	MadeUntil *time.Time
	Quantity  *unit.Quantity // that was made
	InControl bool
	Remaining *unit.Quantity
	Shipped   *unit.Quantity // nil, too, where nothing has
	Held      bool           // a hold stands on some of it
}

// LotLink is one way in which one lot came into another.
type LotLink struct {
	lot.Link
	From, To string
	// Share is which part of the input lot went this way, of a genealogy forward,
	// and which part of the output lot came this way, of one backward; from 0 to 1.
	// Nil: unknown, or in different units.
	Share *string
}

// Genealogy is what became of a lot, or what it was made of.
type Genealogy struct {
	Lot       string
	Direction lot.Direction
	Nodes     []LotNode // in order of steps
	Links     []LotLink
	Shipments []Shipped // of these lots, where they are what became of it
	Truncated bool      // there is more than one answer holds
}

// Genealogy follows a lot forward or backward, for so many steps (0: to the end):
// by transformations, by vessels until they were cleaned out, and by what would
// close a cycle and nobody has rejected.
func (s *Service) Genealogy(ctx context.Context, sc pg.Scope, code string, way lot.Direction, depth int) (Genealogy, error) {
	if way != lot.Forward && way != lot.Backward {
		return Genealogy{}, fault.New(fault.Invalid, "unknown-word", "a genealogy goes forward or backward").In("direction")
	}
	return ask(ctx, s, sc, func(tx *pg.Tx) (Genealogy, error) {
		g := Genealogy{Lot: code, Direction: way, Nodes: []LotNode{}, Links: []LotLink{}, Shipments: []Shipped{}}
		l, err := lot.ByCode(ctx, tx, code)
		if err != nil {
			return g, err
		}
		f, err := lot.Follow(ctx, tx, lot.ID(l.ID), way, depth, MostTraced)
		if err != nil {
			return g, err
		}
		g.Truncated = f.Truncated
		known, err := lot.Get(ctx, tx, f.Lots)
		if err != nil {
			return g, err
		}
		gone, err := lot.Shipped(ctx, tx, f.Lots)
		if err != nil {
			return g, err
		}
		if err := g.nodes(ctx, tx, f, known, gone); err != nil {
			return g, err
		}
		for _, k := range f.Links {
			g.Links = append(g.Links, LotLink{k, known[k.From].Code, known[k.To].Code, share(k, way, known)})
		}
		if way == lot.Forward {
			for _, s := range gone {
				g.Shipments = append(g.Shipments, Shipped{Lot: known[s.Lot].Code, BecauseOf: code, Shipment: s.Shipment,
					Consignee: s.Consignee, Quantity: s.Quantity, Unit: s.Unit, ShippedAt: s.ShippedAt.UTC()})
			}
		}
		return g, nil
	})
}

func (g *Genealogy) nodes(ctx context.Context, tx *pg.Tx, f lot.Family, known map[lot.ID]lot.Stored, gone []lot.Gone) error {
	where, err := lot.Positions(ctx, tx, f.Lots)
	if err != nil {
		return err
	}
	var held []lot.ID
	const q = `select distinct p.lot_id from hold h join portion p using (plant_id, portion_id)
		where h.plant_id = $1 and h.lifted_at is null and p.lot_id = any($2)`
	if err := tx.SelectContext(ctx, &held, q, tx.Plant, pq.Array(f.Lots)); err != nil {
		return err
	}
	onHold := make(map[lot.ID]bool, len(held))
	for _, id := range held {
		onHold[id] = true
	}
	shipped := sums(gone)
	for _, id := range f.Lots {
		l, p := known[id], where[id]
		g.Nodes = append(g.Nodes, LotNode{Lot: l.Code, Steps: f.Steps[id], Product: l.Product, MadeAt: l.MadeAt, MadeFrom: l.MadeFrom,
			MadeUntil: l.MadeUntil, Quantity: both(l.Quantity, l.Unit), InControl: p.InControl, Remaining: both(p.Quantity, p.Unit),
			Shipped: shipped[id], Held: onHold[id]})
	}
	return nil
}

func both(amount, of *string) *unit.Quantity {
	if amount == nil || of == nil {
		return nil
	}
	return &unit.Quantity{Amount: *amount, Unit: *of}
}

// sums adds up what has gone of each lot; nil where that is not known in one unit.
func sums(gone []lot.Gone) map[lot.ID]*unit.Quantity {
	out := map[lot.ID]*unit.Quantity{}
	for _, s := range gone {
		have, some := out[s.Lot]
		q := both(s.Quantity, s.Unit)
		switch {
		case !some:
			out[s.Lot] = q
		case have == nil || q == nil || have.Unit != q.Unit:
			out[s.Lot] = nil
		default:
			out[s.Lot] = &unit.Quantity{Amount: plain(new(big.Rat).Add(have.Rat(), q.Rat())), Unit: q.Unit}
		}
	}
	return out
}

// share returns which part of a lot went along a link, or came along it.
func share(k lot.Link, way lot.Direction, known map[lot.ID]lot.Stored) *string {
	whole, part := known[k.From], both(k.In, k.Unit)
	if way == lot.Backward {
		whole, part = known[k.To], both(k.Out, k.Unit)
	}
	of := both(whole.Quantity, whole.Unit)
	if part == nil || of == nil || part.Unit != of.Unit || of.Rat().Sign() <= 0 {
		return nil
	}
	text := plain(new(big.Rat).Quo(part.Rat(), of.Rat()))
	return &text
}
