package workflow

import (
	"context"
	"slices"

	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// AddCertificates records calibration certificates of references. One that
// becomes known after checks that it is valid for has them judged anew; what
// comes of that for the instruments that were checked waits as a cascade.
func (s *Service) AddCertificates(ctx context.Context, sc pg.Scope, list []instrument.Certificate) (Counts, error) {
	if len(list) == 0 {
		return Counts{}, nil
	}
	f := facts[instrument.Certificate]{action: "certificate.recorded", add: instrument.AddCertificates}
	return do(ctx, s, sc, f.action, list, statusCreated, func(tx *pg.Tx) (Counts, error) {
		if err := tx.OwnPlant(ctx); err != nil {
			return Counts{}, err
		}
		if err := tx.OwnStream(ctx, "facts"); err != nil {
			return Counts{}, err
		}
		fresh, err := f.add(ctx, tx, list)
		c := Counts{Accepted: len(fresh), Unchanged: len(list) - len(fresh)}
		if err != nil || len(fresh) == 0 {
			return c, err
		}
		if err := f.note(ctx, tx, fresh); err != nil {
			return c, err
		}
		return c, rejudge(ctx, tx, fresh)
	})
}

// rejudge judges anew the checks that certificates are valid for.
func rejudge(ctx context.Context, tx *pg.Tx, fresh []instrument.Certificate) error {
	var checked bool
	if err := tx.GetContext(ctx, &checked, `select exists (select from accuracy_check where plant_id = $1)`, tx.Plant); err != nil || !checked {
		return err
	}
	p, err := currentPolicy(ctx, tx)
	if err != nil {
		return err
	}
	was, err := standingNow(ctx, tx)
	if err != nil {
		return err
	}
	changed, err := instrument.Rejudge(ctx, tx, fresh, p.DecisionRule)
	if err != nil || len(changed) == 0 {
		return err
	}
	var codes, references []string
	for _, r := range changed {
		codes = append(codes, r.Instrument.Code)
		err := trail.Append(ctx, tx, trail.Entry{Stream: "instrument/" + r.Instrument.Code, Action: "check.judged_anew",
			Subject: r.Instrument.Code, HappenedAt: r.Check.PerformedAt, Before: map[string]any{"found": r.Found, "left": r.Left},
			After: map[string]any{"check": r.ID, "found": r.NowFound, "left": r.NowLeft, "distrusted": r.Distrusted}})
		if err != nil {
			return err
		}
	}
	for _, c := range fresh {
		references = append(references, c.Instrument)
	}
	slices.Sort(codes)
	if err := touchInstruments(ctx, tx, slices.Compact(codes)); err != nil {
		return err
	}
	if _, err := was.spread(ctx, tx, references, p); err != nil {
		return err
	}
	return tx.RaiseEpoch(ctx)
}
