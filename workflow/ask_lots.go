package workflow

import (
	"context"

	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Products returns products.
func (s *Service) Products(ctx context.Context, sc pg.Scope, after int64, limit int) ([]lot.Numbered[lot.Product], error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]lot.Numbered[lot.Product], error) { return lot.Products(ctx, tx, after, limit) })
}

// Lots returns lots.
func (s *Service) Lots(ctx context.Context, sc pg.Scope, after int64, limit int) ([]lot.Numbered[lot.Registered], error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]lot.Numbered[lot.Registered], error) { return lot.List(ctx, tx, after, limit) })
}

// Stays returns where a lot was, where all were if code is empty.
func (s *Service) Stays(ctx context.Context, sc pg.Scope, code string, after int64, limit int) ([]lot.Numbered[lot.Stay], error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]lot.Numbered[lot.Stay], error) { return lot.Stays(ctx, tx, code, after, limit) })
}

// Transformations returns what a lot was made of and what was made of it, all
// if code is empty; after names input, output and event.
func (s *Service) Transformations(ctx context.Context, sc pg.Scope, code string, after [3]string, limit int) ([]lot.Transformation, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]lot.Transformation, error) { return lot.Made(ctx, tx, code, after, limit) })
}

// Shipments returns what has gone of a lot, of all if code is empty; after names
// lot and shipment.
func (s *Service) Shipments(ctx context.Context, sc pg.Scope, code string, after [2]string, limit int) ([]lot.Shipment, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]lot.Shipment, error) { return lot.Shipments(ctx, tx, code, after, limit) })
}

// LotStory is a lot and everything that is known of where it is.
type LotStory struct {
	Lot      lot.Numbered[lot.Registered]
	Position lot.Position
	Holds    []hold.Hold
	Stays    []lot.Numbered[lot.Stay]
	Made     []lot.Transformation
	Shipped  []lot.Shipment
}

// storyRows bounds each list of a lot's story; the lists of their own go on
// from there.
const storyRows = 1000

// Lot returns one lot and where it went.
func (s *Service) Lot(ctx context.Context, sc pg.Scope, code string) (LotStory, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (story LotStory, err error) {
		if story.Lot, err = lot.ByCode(ctx, tx, code); err != nil {
			return story, err
		}
		id := lot.ID(story.Lot.ID)
		where, err := lot.Positions(ctx, tx, []lot.ID{id})
		if err != nil {
			return story, err
		}
		story.Position = where[id]
		if story.Holds, err = hold.OnLot(ctx, tx, id); err != nil {
			return story, err
		}
		if story.Stays, err = lot.Stays(ctx, tx, code, 0, storyRows); err != nil {
			return story, err
		}
		if story.Made, err = lot.Made(ctx, tx, code, [3]string{}, storyRows); err != nil {
			return story, err
		}
		story.Shipped, err = lot.Shipments(ctx, tx, code, [2]string{}, storyRows)
		return story, err
	})
}
