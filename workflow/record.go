package workflow

import (
	"context"
	"errors"
	"slices"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// Happenings is what became known of instruments: checks that were done, and
// what happened to them.
type Happenings struct {
	Events []instrument.Event
	Checks []instrument.Check
}

// HappeningFaults is everything that is wrong with happenings, by list.
type HappeningFaults struct{ Events, Checks fault.Rows }

// Error names the first fault.
func (h *HappeningFaults) Error() string {
	if len(h.Events) > 0 {
		return "events: " + h.Events.Error()
	}
	return "checks: " + h.Checks.Error()
}

// Record records checks and events, judges the checks, and in the same
// transaction opens a deviation for each check that did not clearly pass and
// each adjustment without an as-found, with precautionary holds on every lot in
// doubt that is still in control. Deviations that exist already are widened by
// what is new. What was checked against an instrument that fell is held too, and
// pends as a cascade. It returns the deviations that it opened.
// *HappeningFaults: nothing was written.
func (s *Service) Record(ctx context.Context, sc pg.Scope, h Happenings) (opened []Deviation, err error) {
	a, err := s.RecordCounted(ctx, sc, h)
	return a.Opened, err
}

// Happened says what became of happenings.
type Happened struct {
	Events, Checks Counts
	Opened         []Deviation
	Cascades       []CascadeID // that pend because of them
}

// RecordCounted is Record, and also counts what was new.
func (s *Service) RecordCounted(ctx context.Context, sc pg.Scope, h Happenings) (Happened, error) {
	return do(ctx, s, sc, "record", h, statusCreated, func(tx *pg.Tx) (Happened, error) {
		if err := tx.OwnPlant(ctx); err != nil {
			return Happened{}, err
		}
		return recordAll(ctx, tx, h)
	})
}

// Review says what is wrong with happenings, as Record would, and records
// nothing.
func (s *Service) Review(ctx context.Context, sc pg.Scope, h Happenings) error {
	undo := errors.New("reviewed")
	err := s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		p, err := currentPolicy(ctx, tx)
		if err != nil {
			return err
		}
		if _, err := store(ctx, tx, h, p); err != nil {
			return err
		}
		return undo
	})
	if errors.Is(err, undo) {
		return nil
	}
	return err
}

func recordAll(ctx context.Context, tx *pg.Tx, h Happenings) (a Happened, err error) {
	p, err := currentPolicy(ctx, tx)
	if err != nil {
		return a, err
	}
	fresh, err := store(ctx, tx, h, p)
	if err != nil {
		return a, err
	}
	a.Events = Counts{Accepted: len(fresh.events), Unchanged: len(h.Events) - len(fresh.events)}
	a.Checks = Counts{Accepted: len(fresh.checks), Unchanged: len(h.Checks) - len(fresh.checks)}
	if len(fresh.events)+len(fresh.checks) == 0 {
		return a, nil
	}
	err = lookAgain(ctx, tx, touchedInstruments(h, fresh), p, &a)
	return a, err
}

// lookAgain looks again at instruments of which something new is known, and at
// all that hangs on them, and adds to a what that opened. The caller owns the
// plant.
func lookAgain(ctx context.Context, tx *pg.Tx, codes []string, p sitePolicy, a *Happened) error {
	was, err := standingNow(ctx, tx)
	if err != nil {
		return err
	}
	if a.Opened, err = reconsiderOwn(ctx, tx, codes, was, p); err != nil {
		return err
	}
	if err := touchSeconds(ctx, tx, codes); err != nil {
		return err
	}
	pending, err := was.spread(ctx, tx, nil, p)
	if err != nil {
		return err
	}
	for _, c := range pending {
		a.Cascades = append(a.Cascades, c.ID)
	}
	if err := asTheyStand(ctx, tx, a.Opened); err != nil {
		return err
	}
	return tx.RaiseEpoch(ctx)
}

// news is what of some happenings was not recorded before.
type news struct {
	events []instrument.Event
	checks []instrument.Judged
}

// store writes events and checks; all faults of both are told at once.
func store(ctx context.Context, tx *pg.Tx, h Happenings, p sitePolicy) (fresh news, err error) {
	var faults HappeningFaults
	if fresh.events, err = instrument.AddEvents(ctx, tx, h.Events); err != nil && !errors.As(err, &faults.Events) {
		return news{}, err
	}
	judged, err := instrument.Judge(ctx, tx, h.Checks, p.DecisionRule)
	if err != nil && !errors.As(err, &faults.Checks) {
		return news{}, err
	}
	if len(faults.Events)+len(faults.Checks) > 0 {
		return news{}, &faults
	}
	if fresh.checks, err = instrument.AddChecks(ctx, tx, judged, p.version); err != nil {
		if errors.As(err, &faults.Checks) {
			return news{}, &faults
		}
		return news{}, err
	}
	if err := refuseCycles(ctx, tx, h.Checks, fresh.checks); err != nil {
		return news{}, err
	}
	return fresh, fresh.note(ctx, tx)
}

// note tells the trail.
func (n news) note(ctx context.Context, tx *pg.Tx) error {
	for _, e := range n.events {
		err := trail.Append(ctx, tx, trail.Entry{Stream: "instrument/" + e.Instrument, Action: "event.recorded",
			Subject: e.Instrument, HappenedAt: e.At, After: map[string]any{"event": e.Kind, "note": e.Note}})
		if err != nil {
			return err
		}
	}
	for _, j := range n.checks {
		if err := noteCheck(ctx, tx, j); err != nil {
			return err
		}
	}
	return nil
}

func noteCheck(ctx context.Context, tx *pg.Tx, j instrument.Judged) error {
	return trail.Append(ctx, tx, trail.Entry{Stream: "instrument/" + j.Instrument.Code, Action: "check.recorded",
		Subject: j.Instrument.Code, HappenedAt: j.PerformedAt, After: map[string]any{
			"found": j.Judgement.Found, "left": j.Judgement.Left, "reason": j.Judgement.Reason, "check": j.Check}})
}

// touchedInstruments returns the instruments that something new is known of,
// references first: a check is only as good as its reference was.
func touchedInstruments(h Happenings, fresh news) []string {
	reference := map[string]bool{}
	for _, c := range h.Checks {
		for _, p := range c.Points {
			reference[p.Reference] = true
		}
	}
	var first, then []string
	add := func(code string) {
		if reference[code] {
			first = append(first, code)
		} else {
			then = append(then, code)
		}
	}
	for _, j := range fresh.checks {
		add(j.Instrument.Code)
	}
	for _, e := range fresh.events {
		add(e.Instrument)
	}
	slices.Sort(first)
	slices.Sort(then)
	return append(slices.Compact(first), slices.Compact(then)...)
}
