package workflow

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"

	"github.com/go-json-experiment/json"

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
// what is new. It returns the deviations that it opened. *HappeningFaults:
// nothing was written.
func (s *Service) Record(ctx context.Context, sc pg.Scope, h Happenings) (opened []Deviation, err error) {
	text, err := json.Marshal(h, json.Deterministic(true))
	if err != nil {
		return nil, fmt.Errorf("happenings: %w", err)
	}
	digest := sha256.Sum256(text)
	err = s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		opened = nil
		answer, done, err := tx.Once(ctx, digest[:])
		if err != nil {
			return err
		}
		if done {
			return json.Unmarshal(answer, &opened)
		}
		if err := tx.OwnPlant(ctx); err != nil {
			return err
		}
		if opened, err = recordAll(ctx, tx, h); err != nil {
			return err
		}
		body, err := json.Marshal(opened)
		if err != nil {
			return err
		}
		return tx.Answered(ctx, digest[:], 201, body)
	})
	return opened, err
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

func recordAll(ctx context.Context, tx *pg.Tx, h Happenings) ([]Deviation, error) {
	p, err := currentPolicy(ctx, tx)
	if err != nil {
		return nil, err
	}
	fresh, err := store(ctx, tx, h, p)
	if err != nil {
		return nil, err
	}
	var opened []Deviation
	for _, in := range touchedInstruments(h, fresh) {
		d, err := reconsider(ctx, tx, in, p)
		if err != nil {
			return nil, err
		}
		opened = append(opened, d...)
	}
	return opened, tx.RaiseEpoch(ctx)
}

// store writes events and checks; all faults of both are told at once.
func store(ctx context.Context, tx *pg.Tx, h Happenings, p sitePolicy) ([]instrument.Judged, error) {
	var faults HappeningFaults
	if err := instrument.AddEvents(ctx, tx, h.Events); err != nil && !errors.As(err, &faults.Events) {
		return nil, err
	}
	judged, err := instrument.Judge(ctx, tx, h.Checks, p.DecisionRule)
	if err != nil && !errors.As(err, &faults.Checks) {
		return nil, err
	}
	if len(faults.Events)+len(faults.Checks) > 0 {
		return nil, &faults
	}
	fresh, err := instrument.AddChecks(ctx, tx, judged, p.version)
	if err != nil {
		if errors.As(err, &faults.Checks) {
			return nil, &faults
		}
		return nil, err
	}
	for _, j := range fresh {
		if err := noteCheck(ctx, tx, j); err != nil {
			return nil, err
		}
	}
	return fresh, nil
}

func noteCheck(ctx context.Context, tx *pg.Tx, j instrument.Judged) error {
	return trail.Append(ctx, tx, trail.Entry{Stream: "instrument/" + j.Instrument.Code, Action: "check.recorded",
		Subject: j.Instrument.Code, HappenedAt: j.PerformedAt, After: map[string]any{
			"found": j.Judgement.Found, "left": j.Judgement.Left, "reason": j.Judgement.Reason, "check": j.Check}})
}

// touchedInstruments returns the instruments that something new is known of,
// references first: a check is only as good as its reference was.
func touchedInstruments(h Happenings, fresh []instrument.Judged) []string {
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
	for _, j := range fresh {
		add(j.Instrument.Code)
	}
	for _, e := range h.Events {
		add(e.Instrument)
	}
	slices.Sort(first)
	slices.Sort(then)
	return append(slices.Compact(first), slices.Compact(then)...)
}

// reconsider looks at the whole history of an instrument: opens the deviations
// that it lacks, and brings the containment of all of them up to date.
func reconsider(ctx context.Context, tx *pg.Tx, code string, p sitePolicy) ([]Deviation, error) {
	known, err := instrument.Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	in := known[code]
	h, err := instrument.LoadHistory(ctx, tx, in)
	if err != nil {
		return nil, err
	}
	have, err := deviationsOf(ctx, tx, in.ID)
	if err != nil {
		return nil, err
	}
	var opened []Deviation
	for _, o := range openings(h) {
		i := slices.IndexFunc(have, func(d Deviation) bool { return d.opened(o) })
		if i < 0 {
			d, err := insertDeviation(ctx, tx, in, o, p.version)
			if err != nil {
				return nil, err
			}
			have, opened, i = append(have, d), append(opened, d), len(have)
		}
		doubt, err := doubtOf(in, h, o, p)
		if err != nil {
			return nil, fmt.Errorf("error model of %s: %w", code, err)
		}
		if err := contain(ctx, tx, &have[i], doubt, p); err != nil {
			return nil, err
		}
	}
	if len(have) > len(opened) {
		return opened, touchInstruments(ctx, tx, []string{code})
	}
	return opened, nil
}
