package workflow

import (
	"context"
	"fmt"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// Label is what stands on an instrument.
type Label struct {
	Instrument  instrument.Registered
	Zone        *time.Location // of the plant
	Due         Due
	CheckedAt   *time.Time // the check that the label speaks of; nil: never checked
	PerformedBy string
	VerifiedBy  string
	Errors      []LabelError // as it was left, by point
	// WhyNot says why the instrument must not be used; empty: it may.
	WhyNot string
}

// LabelError is how wrong the instrument was left at a point, in its own unit.
type LabelError struct {
	At, Error unit.Micro
}

// Label returns what is to stand on an instrument. fault.NotFound: there is no
// such instrument.
func (s *Service) Label(ctx context.Context, sc pg.Scope, code string) (Label, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (l Label, err error) {
		if l.Instrument, err = instrument.ByCode(ctx, tx, code); err != nil {
			return l, err
		}
		due, err := dueWhere(ctx, tx, `i.code = $3`, code)
		if err != nil {
			return l, err
		}
		l.Due = due[0]
		if l.Zone, err = zoneOf(ctx, tx); err != nil {
			return l, err
		}
		if l.WhyNot, err = unfit(ctx, tx, l.Due, l.Instrument); err != nil {
			return l, err
		}
		if l.Due.LastAt == nil {
			return l, nil
		}
		l.CheckedAt = l.Due.LastAt
		c, err := instrument.CheckDoneAt(ctx, tx, code, *l.Due.LastAt)
		if err != nil {
			return l, fmt.Errorf("label of %s: %w", code, err)
		}
		l.PerformedBy, l.VerifiedBy = c.Check.PerformedBy, c.Check.VerifiedBy
		l.Errors = labelErrors(c, l.Instrument.Unit)
		return l, nil
	})
}

// unfit says why an instrument must not be used now; empty: it may. After a
// signed return on a clear pass it may again, whatever is still to be decided about
// its product.
func unfit(ctx context.Context, tx *pg.Tx, d Due, in instrument.Registered) (string, error) {
	why, err := inDoubtNow(ctx, tx, in.ID)
	out := outOfService(in)
	switch {
	case err != nil:
		return "", err
	case d.LastAt == nil:
		return "never checked", nil
	case why != "":
		return why, nil
	case out != "":
		return out, nil
	case d.LastGoodAt == nil:
		return "no check that it clearly passed", nil
	case d.Overdue:
		return "its check is overdue", nil
	case d.OutOfUse:
		return "taken out of use", nil
	}
	return "", nil
}

// inDoubtNow says what put an instrument in doubt that has not clearly passed
// since; empty: nothing did.
func inDoubtNow(ctx context.Context, tx *pg.Tx, id instrument.ID) (string, error) {
	in, err := instrument.Get(ctx, tx, id)
	if err != nil {
		return "", err
	}
	h, err := instrument.LoadHistory(ctx, tx, in)
	if err != nil {
		return "", err
	}
	for _, o := range openings(h) {
		if o.until == notYet {
			return o.words(), nil
		}
	}
	// A pass elsewhere, in ice for a cook, does not end a window.
	const open = `select exists (select from deviation_window where plant_id = $1 and instrument_id = $2 and upper_inf(span))`
	var still bool
	if err := tx.GetContext(ctx, &still, open, tx.Plant, id); err != nil || !still {
		return "", err
	}
	return "its suspect window is open: it has not passed where it failed", nil
}

// outOfService says why an instrument that is in no doubt may not be used all the
// same; empty: it may. A pass alone puts nothing back into use.
func outOfService(in instrument.Registered) string {
	switch State(in.State) {
	case InstrumentSuspended:
		return "it failed, and its return to use is not signed"
	case InstrumentRetired, InstrumentLost:
		return "it is " + in.State
	}
	return ""
}

// labelErrors are the errors as left, on the scale of the display.
func labelErrors(c instrument.Done, s unit.Scale) []LabelError {
	var out []LabelError
	for i, p := range c.Check.Points {
		left := p.Left
		if left == nil {
			left = p.Found
		}
		if left == nil {
			continue
		}
		e := *left - c.Points[i].True
		at := unit.Convert(c.Points[i].True, p.Unit, s, unit.Colder)
		out = append(out, LabelError{At: at, Error: unit.ConvertDiff(e, p.Unit, s, unit.Hotter)})
	}
	return out
}
