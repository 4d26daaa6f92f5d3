package workflow

import (
	"context"
	"errors"

	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// CheckForeseen is what recording a check would do.
type CheckForeseen struct {
	Checked
	Cascades []Foreseen // the trees that would wait for a second person
}

// PreviewCheck says what RecordCheck would do, and records nothing. The numbers
// of what does not exist yet mean nothing. fault.Rows: it would be refused.
func (s *Service) PreviewCheck(ctx context.Context, sc pg.Scope, c instrument.Check) (out CheckForeseen, err error) {
	undo := errors.New("foreseen")
	sc.IdemKey = ""
	err = s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		out = CheckForeseen{Cascades: []Foreseen{}}
		if err := tx.OwnPlant(ctx); err != nil {
			return err
		}
		ref, err := recordOne(ctx, tx, c)
		if err != nil {
			return err
		}
		if out.Checked, err = checkedOf(ctx, tx, ref); err != nil {
			return err
		}
		for _, id := range ref.Cascades {
			k, err := getCascade(ctx, tx, id)
			if err != nil {
				return err
			}
			f, err := k.Tree()
			if err != nil {
				return err
			}
			out.Cascades = append(out.Cascades, f)
		}
		return undo
	})
	var bad *HappeningFaults
	switch {
	case errors.Is(err, undo):
		return out, nil
	case errors.As(err, &bad):
		return CheckForeseen{}, bad.Checks
	}
	return CheckForeseen{}, err
}

// recordOne records one check.
func recordOne(ctx context.Context, tx *pg.Tx, c instrument.Check) (ref checkedRef, err error) {
	a, err := recordAll(ctx, tx, Happenings{Checks: []instrument.Check{c}})
	if err != nil {
		return ref, err
	}
	d, err := instrument.CheckDoneAt(ctx, tx, c.Instrument, c.PerformedAt)
	ref = checkedRef{Check: d.ID, Unchanged: a.Checks.Accepted == 0, Opened: []DeviationID{}, Cascades: a.Cascades}
	for _, o := range a.Opened {
		ref.Opened = append(ref.Opened, o.ID)
	}
	return ref, err
}
