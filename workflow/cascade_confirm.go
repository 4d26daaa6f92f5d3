package workflow

import (
	"bytes"
	"context"
	"fmt"
	"slices"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// confirmed is what the idempotency row keeps of a confirmation.
type confirmed struct {
	Outdated bool          `json:"outdated"` // the tree is not the one that was seen: nothing was done
	Opened   []DeviationID `json:"opened"`
}

// ConfirmCascade lets the tree fall that a second person has seen: the windows
// grow, deviations open, and those that it touches become due for a new trace
// run. seen is the digest of the preview that was looked at. If it shows
// something else by now nothing is done: the answer is the cascade as it is, with
// a fault of the kind Conflict. A cascade that was confirmed stays as it is.
func (s *Service) ConfirmCascade(ctx context.Context, sc pg.Scope, id CascadeID, seen []byte) (Cascade, error) {
	request := map[string]any{"cascade": id, "seen": seen}
	done, err := do(ctx, s, sc, "confirm cascade", request, statusDone, func(tx *pg.Tx) (confirmed, error) {
		return confirm(ctx, tx, id, seen)
	})
	if err != nil {
		return Cascade{}, err
	}
	c, err := s.Cascade(ctx, sc, id)
	if err == nil && done.Outdated {
		err = fault.New(fault.Conflict, "preview-outdated", "something became known since you looked: look at the cascade again, and confirm what it shows now")
	}
	return c, err
}

func confirm(ctx context.Context, tx *pg.Tx, id CascadeID, seen []byte) (done confirmed, err error) {
	if err := tx.OwnPlant(ctx); err != nil {
		return done, err
	}
	c, err := getCascade(ctx, tx, id)
	if err != nil {
		return done, err
	}
	switch {
	case slices.Contains(c.Actors, tx.By.ID):
		return done, fault.New(fault.Forbidden, "second-person-required", "%s recorded what this rests on: somebody else confirms it", tx.By.ID)
	case c.State == CascadeOvertaken:
		return done, fault.New(fault.Refused, "cascade-overtaken", "nothing is left of this cascade to be confirmed")
	case c.State == CascadeConfirmed:
		return confirmed{Outdated: !bytes.Equal(c.Digest, seen)}, nil
	}
	p, err := currentPolicy(ctx, tx)
	if err != nil {
		return done, err
	}
	was, err := standingNow(ctx, tx)
	if err != nil {
		return done, err
	}
	if err := c.look(ctx, tx, was.distrusted, p); err != nil {
		return done, err
	}
	if c.State != CascadePending || !bytes.Equal(c.Digest, seen) {
		return confirmed{Outdated: true}, tx.RaiseEpoch(ctx)
	}
	return c.fall(ctx, tx, p)
}

// fall does what was confirmed.
func (c *Cascade) fall(ctx context.Context, tx *pg.Tx, p sitePolicy) (done confirmed, err error) {
	tx.Cause = fmt.Sprintf("cascade %d, from %s", c.ID, c.Reference)
	_, opened, err := letFall(ctx, tx, c.Reference, p)
	if err != nil {
		return done, err
	}
	const q = `update cascade set state = 'confirmed', confirmed_at = $3, confirmed_by = $4, refresh_due = null,
		version = version + 1 where plant_id = $1 and cascade_id = $2`
	if _, err := tx.ExecContext(ctx, q, tx.Plant, c.ID, tx.Now, tx.By.ID); err != nil {
		return done, fmt.Errorf("cascade %d: %w", c.ID, err)
	}
	for _, d := range opened {
		done.Opened = append(done.Opened, d.ID)
	}
	err = trail.Append(ctx, tx, trail.Entry{Stream: c.stream(), Action: "cascade.confirmed", Subject: c.Reference, Version: c.Version + 1,
		After: map[string]any{"sha256": c.Digest, "opened": done.Opened}})
	if err != nil {
		return done, err
	}
	return done, lookAtRest(ctx, tx, p)
}

// lookAtRest looks again at the cascades that still pend, and tells everybody.
func lookAtRest(ctx context.Context, tx *pg.Tx, p sitePolicy) error {
	was, err := standingNow(ctx, tx)
	if err != nil {
		return err
	}
	pending, err := pendingCascades(ctx, tx)
	if err != nil {
		return err
	}
	for i := range pending {
		if err := pending[i].look(ctx, tx, was.distrusted, p); err != nil {
			return err
		}
	}
	return tx.RaiseEpoch(ctx)
}

// refreshDue looks again at the cascades of every plant that something newer
// than their preview may concern, so that what has come into doubt since is held.
func (s *Service) refreshDue(ctx context.Context) (errs []error) {
	due, err := s.db.DueCascades(ctx)
	if err != nil {
		return []error{fmt.Errorf("due cascades: %w", err)}
	}
	for _, plant := range due {
		if err := s.refreshCascades(ctx, plant); err != nil {
			errs = append(errs, fmt.Errorf("plant %d cascades: %w", plant, err))
		}
	}
	return errs
}

// refreshCascades looks again at the cascades of a plant.
func (s *Service) refreshCascades(ctx context.Context, plant pg.PlantID) error {
	sc := pg.Scope{Plant: plant, By: actor.Engine, Cause: "late evidence"}
	return s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		if err := tx.OwnPlant(ctx); err != nil {
			return err
		}
		p, err := currentPolicy(ctx, tx)
		if err != nil {
			return err
		}
		return lookAtRest(ctx, tx, p)
	})
}
