package workflow

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// An instrument that is read after the day on which its check was due, and after
// the grace that the site gives, vouches for product by a check that is too old.
// That opens a deviation as a failed check does. One that rests is merely due: the
// check before its next use is in time (common practice). Nor does one of which
// nobody knows since when it is in service become overdue at any moment; the list
// of what is due says so.

// tooOld is a check that is overdue, with the instrument.
type tooOld struct {
	instrument.FoundOverdue
	Code string
}

// overdueNow returns the checks that are overdue, that are not recorded as such,
// and whose instruments are not in doubt already.
func overdueNow(ctx context.Context, tx *pg.Tx, grace time.Duration) ([]tooOld, error) {
	list, err := dueWhere(ctx, tx, `i.used_for = 'food_safety' and i.check_every_days is not null
		and coalesce(i.in_service_from <= $2, true) and not exists (select from deviation_window w
		where w.plant_id = $1 and w.instrument_id = i.instrument_id and upper_inf(w.span))`)
	if err != nil {
		return nil, err
	}
	list = slices.DeleteFunc(list, func(d Due) bool { return d.OutOfUse || !d.Overdue || d.On == nil })
	if len(list) == 0 {
		return nil, nil
	}
	known, err := instrument.Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	var out []tooOld
	for _, d := range list {
		o := tooOld{d.overdueSince(grace), d.Instrument}
		o.Instrument = known[d.Instrument].ID
		used, err := usedSince(ctx, tx, o.FoundOverdue)
		if err != nil {
			return nil, err
		}
		if used && tx.Now.After(o.DueAt) {
			out = append(out, o)
		}
	}
	return out, nil
}

// overdueSince returns until when a check would have been in time, and from when
// on: the day after the one from which the days counted.
func (d Due) overdueSince(grace time.Duration) instrument.FoundOverdue {
	midnight := func(days int) time.Time {
		return time.Date(d.On.Year(), d.On.Month(), d.On.Day()+days, 0, 0, 0, 0, d.On.Location())
	}
	return instrument.FoundOverdue{DueAt: midnight(1).Add(grace).UTC(), InTimeFrom: midnight(1 - *d.EveryDays).UTC()}
}

// usedSince says whether an instrument was read, or another checked against it,
// after its check was due, and nobody has recorded so yet.
func usedSince(ctx context.Context, tx *pg.Tx, o instrument.FoundOverdue) (used bool, err error) {
	const q = `select not exists (select from overdue_check where plant_id = $1 and instrument_id = $2 and due_at = $3)
		and (exists (select from reading where plant_id = $1 and instrument_id = $2 and taken_at > $3)
		or exists (select from check_point p join accuracy_check c using (plant_id, check_id)
			where p.plant_id = $1 and p.reference_id = $2 and c.performed_at > $3))`
	if err := tx.GetContext(ctx, &used, q, tx.Plant, o.Instrument, o.DueAt); err != nil {
		return false, fmt.Errorf("used since its check was due: %w", err)
	}
	return used, nil
}

// checksOverdue says whether a plant has overdue checks that are not recorded.
func (s *Service) checksOverdue(ctx context.Context, plant pg.PlantID) (bool, error) {
	return ask(ctx, s, pg.Scope{Plant: plant, By: actor.Engine}, func(tx *pg.Tx) (bool, error) {
		p, err := policyInForce(ctx, tx)
		if errors.Is(err, fault.Refused) { // no policy yet: nothing can be judged
			return false, nil
		}
		if err != nil {
			return false, err
		}
		list, err := overdueNow(ctx, tx, p.OverdueGrace)
		return len(list) > 0, err
	})
}

// openOverdue records the overdue checks of a plant and opens their deviations
// with their holds, all in one transaction. Done again it finds nothing.
func (s *Service) openOverdue(ctx context.Context, plant pg.PlantID) error {
	sc := pg.Scope{Plant: plant, By: actor.Engine, Cause: "nobody checked it in time"}
	return s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		if err := tx.OwnPlant(ctx); err != nil {
			return err
		}
		p, err := currentPolicy(ctx, tx)
		if err != nil {
			return err
		}
		list, err := overdueNow(ctx, tx, p.OverdueGrace)
		if err != nil || len(list) == 0 {
			return err
		}
		found := make([]instrument.FoundOverdue, len(list))
		for i, o := range list {
			found[i] = o.FoundOverdue
		}
		if err := instrument.AddOverdue(ctx, tx, found); err != nil {
			return err
		}
		codes, err := noteOverdue(ctx, tx, list)
		if err != nil {
			return err
		}
		return lookAgain(ctx, tx, codes, p, new(Happened))
	})
}

// noteOverdue tells the trail, and returns the instruments.
func noteOverdue(ctx context.Context, tx *pg.Tx, list []tooOld) (codes []string, err error) {
	for _, o := range list {
		codes = append(codes, o.Code)
		err := trail.Append(ctx, tx, trail.Entry{Stream: "instrument/" + o.Code, Action: "check.overdue", Subject: o.Code, HappenedAt: o.DueAt,
			After: map[string]any{"due_at": o.DueAt, "in_time_from": o.InTimeFrom}})
		if err != nil {
			return nil, err
		}
	}
	return codes, nil
}
