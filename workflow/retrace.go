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
// again are looked at first: what has come into doubt is held.
func (s *Service) RetraceDue(ctx context.Context) (traced int, err error) {
	errs := s.refreshDue(ctx)
	due, err := s.db.DueDeviations(ctx)
	if err != nil {
		return 0, errors.Join(append(errs, fmt.Errorf("due deviations: %w", err))...)
	}
	for _, d := range due {
		sc := pg.Scope{Plant: d.Plant, By: actor.Engine, Cause: "late evidence"}
		if _, err := s.Trace(ctx, sc, DeviationID(d.Deviation)); err != nil {
			errs = append(errs, fmt.Errorf("plant %d deviation %d: %w", d.Plant, d.Deviation, err))
			continue
		}
		traced++
	}
	return traced, errors.Join(errs...)
}
