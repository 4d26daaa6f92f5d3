package workflow

import (
	"context"
	"time"

	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// Instruments returns instruments.
func (s *Service) Instruments(ctx context.Context, sc pg.Scope, after instrument.ID, limit int) ([]instrument.Registered, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]instrument.Registered, error) { return instrument.List(ctx, tx, after, limit) })
}

// Instrument returns one instrument.
func (s *Service) Instrument(ctx context.Context, sc pg.Scope, code string) (instrument.Registered, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (instrument.Registered, error) { return instrument.ByCode(ctx, tx, code) })
}

// Certificates returns the certificates of an instrument, of all if code is
// empty.
func (s *Service) Certificates(ctx context.Context, sc pg.Scope, code string, after int64, limit int) ([]instrument.Numbered[instrument.Certificate], error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]instrument.Numbered[instrument.Certificate], error) {
		return instrument.Certificates(ctx, tx, code, after, limit)
	})
}

// Events returns what happened to an instrument, to all if code is empty.
func (s *Service) Events(ctx context.Context, sc pg.Scope, code string, after int64, limit int) ([]instrument.Numbered[instrument.Event], error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]instrument.Numbered[instrument.Event], error) {
		return instrument.Events(ctx, tx, code, after, limit)
	})
}

// Mountings returns where an instrument hung, where all did if code is empty.
func (s *Service) Mountings(ctx context.Context, sc pg.Scope, code string, after int64, limit int) ([]instrument.Numbered[instrument.Mounting], error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]instrument.Numbered[instrument.Mounting], error) {
		return instrument.Mountings(ctx, tx, code, after, limit)
	})
}

// Checks returns the checks of an instrument, of all if code is empty.
func (s *Service) Checks(ctx context.Context, sc pg.Scope, code string, after int64, limit int) ([]instrument.Done, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]instrument.Done, error) {
		return instrument.ChecksDone(ctx, tx, code, after, limit)
	})
}

// Readings returns readings of an instrument after a place in the list, until a
// time, that included. fault.NotFound: there is no such instrument.
func (s *Service) Readings(ctx context.Context, sc pg.Scope, code string, after reading.Place, until time.Time, limit int) ([]reading.Kept, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]reading.Kept, error) {
		if _, err := instrument.ByCode(ctx, tx, code); err != nil {
			return nil, err
		}
		return reading.List(ctx, tx, code, after, until, limit)
	})
}
