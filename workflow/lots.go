package workflow

import (
	"context"

	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// AddPlaces says what locations are. Deviations of which lots in doubt stood there
// become due for a new trace run.
func (s *Service) AddPlaces(ctx context.Context, sc pg.Scope, list []lot.Place) (Counts, error) {
	return record(ctx, s, sc, facts[lot.Place]{action: "location.described", add: lot.AddPlaces,
		touch: touchVessels, by: func(p lot.Place) string { return p.Code }}, list)
}

// AddCleanouts records clean-outs. Deviations that this may concern become due for
// a new trace run. A hold is not lifted by it: QA lifts holds.
func (s *Service) AddCleanouts(ctx context.Context, sc pg.Scope, list []lot.Cleanout) (Counts, error) {
	return record(ctx, s, sc, facts[lot.Cleanout]{action: "cleanout.recorded", add: lot.AddCleanouts,
		touch: touchCleaned, by: func(c lot.Cleanout) string { return c.Location }}, list)
}

// Places returns what is known of locations.
func (s *Service) Places(ctx context.Context, sc pg.Scope, after int64, limit int) ([]lot.Numbered[lot.Place], error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]lot.Numbered[lot.Place], error) { return lot.Places(ctx, tx, after, limit) })
}

// Cleanouts returns the clean-outs of a location, of all if code is empty.
func (s *Service) Cleanouts(ctx context.Context, sc pg.Scope, code string, after int64, limit int) ([]lot.Numbered[lot.Cleanout], error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]lot.Numbered[lot.Cleanout], error) {
		return lot.Cleanouts(ctx, tx, code, after, limit)
	})
}
