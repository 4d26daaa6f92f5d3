package workflow

import (
	"context"
	"errors"
	"fmt"

	"lastgood/workflow/actor"
	"lastgood/workflow/pg"
)

// RetraceDue traces every deviation, of every plant, that something newer than
// its last run is known of, and returns how many it traced. That something is
// due is written in the transaction of the evidence, so nothing is lost however
// a server ends. One that fails does not keep the others back; its error is
// returned with theirs, and it stays due. Cascades that wait to be looked at
// again are looked at first: what has come into doubt is held. A server does the
// same by jobs, one for each.
func (s *Service) RetraceDue(ctx context.Context) (traced int, err error) {
	errs := s.refreshDue(ctx)
	due, err := s.db.DueDeviations(ctx)
	if err != nil {
		return 0, errors.Join(append(errs, fmt.Errorf("due deviations: %w", err))...)
	}
	for _, d := range due {
		stored, err := s.retrace(ctx, d.Plant, DeviationID(d.Deviation))
		if err != nil {
			errs = append(errs, fmt.Errorf("plant %d deviation %d: %w", d.Plant, d.Deviation, err))
		}
		if stored {
			traced++
		}
	}
	return traced, errors.Join(errs...)
}

// retrace traces a deviation if it is still due, and says whether it did: of two
// that are told to, one does.
func (s *Service) retrace(ctx context.Context, plant pg.PlantID, id DeviationID) (stored bool, err error) {
	sc := pg.Scope{Plant: plant, By: actor.Engine, Cause: "late evidence"}
	still := func(tx *pg.Tx, lock string) (bool, error) {
		d, err := getDeviation(ctx, tx, id, lock)
		return d.RetraceDue != nil, err
	}
	due, err := ask(ctx, s, sc, func(tx *pg.Tx) (bool, error) { return still(tx, "") })
	if err != nil || !due {
		return false, err
	}
	e, run, err := s.look(ctx, sc, id)
	if err != nil {
		return false, err
	}
	err = s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		if err := tx.OwnPlant(ctx); err != nil {
			return err
		}
		if stored, err = still(tx, "for update"); err != nil || !stored {
			return err
		}
		return storeRun(ctx, tx, e, &run)
	})
	return stored && err == nil, err
}
