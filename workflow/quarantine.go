package workflow

import (
	"context"
	"fmt"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
	"lastgood/workflow/trail"
)

// Ruling is what a person decides on a quarantined reading.
type Ruling struct {
	Decision reading.Decision
	Reason   string
	By       string // who decided
}

// ResolveReading records what somebody decided on a reading in quarantine:
// accepted, it becomes a reading as it is, in this transaction; rejected, it
// stays a gap. Deviations that it concerns become due for a new trace run. A
// decision stands; the same one again is answered for the same idempotency key.
func (s *Service) ResolveReading(ctx context.Context, sc pg.Scope, id int64, r Ruling) (reading.Held, error) {
	if err := r.check(); err != nil {
		return reading.Held{}, err
	}
	request := map[string]any{"reading": id, "decision": r.Decision, "reason": r.Reason, "by": r.By}
	return do(ctx, s, sc, "resolve reading", request, statusDone, func(tx *pg.Tx) (h reading.Held, err error) {
		epoch, err := tx.SharePlant(ctx)
		if err != nil {
			return h, err
		}
		touched, err := reading.Resolve(ctx, tx, id, r.Decision, r.Reason, r.By)
		if err != nil {
			return h, err
		}
		if epoch > 0 {
			if err := touchReadings(ctx, tx, []reading.Touched{touched}); err != nil {
				return h, fmt.Errorf("deviations: %w", err)
			}
		}
		if h, err = reading.InQuarantine(ctx, tx, id); err != nil {
			return h, err
		}
		return h, trail.Append(ctx, tx, trail.Entry{Stream: "instrument/" + h.Instrument, Action: "reading." + string(r.Decision),
			Subject: h.Instrument, HappenedAt: h.TakenAt, Reason: r.Reason, After: map[string]any{"quarantine": id, "value": h.Value,
				"unit": h.Unit.String(), "lot": h.Lot, "limit": h.Limit, "rule": h.Rule, "decided_by": r.By}})
	})
}

func (r Ruling) check() error {
	switch {
	case r.Decision != reading.Accepted && r.Decision != reading.Rejected:
		return fault.New(fault.Invalid, "unknown-word", "a reading in quarantine is accepted or rejected").In("verdict")
	case r.Reason == "":
		return fault.New(fault.Invalid, "required", "say why").In("reason")
	case r.By == "":
		return fault.New(fault.Invalid, "required", "say who decided").In("decided_by")
	}
	return nil
}

// Quarantine returns readings in quarantine of an instrument, of all if code is
// empty; only those on which nobody has decided, if open.
func (s *Service) Quarantine(ctx context.Context, sc pg.Scope, code string, open bool, after int64, limit int) ([]reading.Held, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]reading.Held, error) {
		return reading.Quarantine(ctx, tx, code, open, after, limit)
	})
}

// AddClockOffsets records by how much recorders' clocks were wrong. Deviations
// of those instruments, and those of which they saw lots in doubt, become due for a
// new trace run.
func (s *Service) AddClockOffsets(ctx context.Context, sc pg.Scope, list []instrument.ClockOffset) (Counts, error) {
	return record(ctx, s, sc, facts[instrument.ClockOffset]{action: "clock_offset.recorded", add: instrument.AddClockOffsets,
		touch: touchInstruments, by: func(o instrument.ClockOffset) string { return o.Instrument }}, list)
}

// ClockOffsets returns by how much the clock of an instrument was wrong, of all
// if code is empty.
func (s *Service) ClockOffsets(ctx context.Context, sc pg.Scope, code string, after int64, limit int) ([]instrument.Numbered[instrument.ClockOffset], error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]instrument.Numbered[instrument.ClockOffset], error) {
		return instrument.ClockOffsets(ctx, tx, code, after, limit)
	})
}
