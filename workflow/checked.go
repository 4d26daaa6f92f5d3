package workflow

import (
	"context"
	"errors"
	"slices"
	"time"

	"lastgood/workflow/hold"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// Checked is a recorded check with what it set off.
type Checked struct {
	Done       instrument.Done
	Unchanged  bool // it was recorded before
	Deviations []Doubted
	Cascades   []CascadeID // that pend because of it
}

// Doubted is a deviation as containment left it.
type Doubted struct {
	Deviation    Deviation
	Instrument   string
	Opened       bool // by this command
	After, Until *time.Time
	Points       []ErrorPoint
	Holds        []hold.Hold
}

// checkedRef is what the idempotency row keeps of the answer: the rest is read
// from the record again.
type checkedRef struct {
	Check     int64         `json:"check"`
	Unchanged bool          `json:"unchanged"`
	Opened    []DeviationID `json:"opened"`
	Cascades  []CascadeID   `json:"cascades"`
}

// RecordCheck records one check as Record does and answers with what it set
// off: the deviations that it opened, and those that it joins because it lies
// in their windows, with what they hold. fault.Rows: nothing was written.
func (s *Service) RecordCheck(ctx context.Context, sc pg.Scope, c instrument.Check) (Checked, error) {
	ref, err := do(ctx, s, sc, "check", c, statusCreated, func(tx *pg.Tx) (checkedRef, error) {
		if err := tx.OwnPlant(ctx); err != nil {
			return checkedRef{}, err
		}
		return recordOne(ctx, tx, c)
	})
	var bad *HappeningFaults
	if errors.As(err, &bad) {
		return Checked{}, bad.Checks
	}
	if err != nil {
		return Checked{}, err
	}
	return ask(ctx, s, sc, func(tx *pg.Tx) (Checked, error) { return checkedOf(ctx, tx, ref) })
}

// Check returns one check and the deviations that it opened or lies in.
func (s *Service) Check(ctx context.Context, sc pg.Scope, id int64) (Checked, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (Checked, error) { return checkedOf(ctx, tx, checkedRef{Check: id}) })
}

func checkedOf(ctx context.Context, tx *pg.Tx, ref checkedRef) (c Checked, err error) {
	c.Unchanged, c.Cascades = ref.Unchanged, ref.Cascades
	if c.Done, err = instrument.CheckDone(ctx, tx, ref.Check); err != nil {
		return c, err
	}
	ids, err := deviationsAround(ctx, tx, c.Done)
	if err != nil {
		return c, err
	}
	for _, id := range ref.Opened { // its window need not reach the check
		if !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	for _, id := range ids {
		d, err := doubted(ctx, tx, id)
		if err != nil {
			return c, err
		}
		d.Opened = slices.Contains(ref.Opened, id)
		c.Deviations = append(c.Deviations, d)
	}
	return c, nil
}

// deviationsAround returns the deviations that a check opened, or in whose
// window it lies.
func deviationsAround(ctx context.Context, tx *pg.Tx, c instrument.Done) (ids []DeviationID, err error) {
	const q = `select d.deviation_id from deviation d join deviation_window w using (plant_id, deviation_id)
		where d.plant_id = $1 and d.instrument_id = $2 and (d.check_id = $3 or w.span @> cast($4 as timestamptz))
		order by d.failed_at, d.deviation_id`
	return ids, tx.SelectContext(ctx, &ids, q, tx.Plant, c.Instrument.ID, c.ID, c.Check.PerformedAt)
}

func doubted(ctx context.Context, tx *pg.Tx, id DeviationID) (d Doubted, err error) {
	if d.Deviation, err = getDeviation(ctx, tx, id, ""); err != nil {
		return d, err
	}
	var row struct {
		Code  string     `db:"code"`
		After *time.Time `db:"after"`
		Until *time.Time `db:"until"`
	}
	const q = `select i.code, lower(w.span) as after, upper(w.span) as until from deviation_window w
		join instrument i using (plant_id, instrument_id) where w.plant_id = $1 and w.deviation_id = $2`
	if err := tx.GetContext(ctx, &row, q, tx.Plant, id); err != nil {
		return d, err
	}
	d.Instrument, d.After, d.Until = row.Code, row.After, row.Until
	if d.Points, err = errorPoints(ctx, tx, d.Deviation); err != nil {
		return d, err
	}
	d.Holds, err = hold.Of(ctx, tx, int64(id))
	return d, err
}

// errorPoints is what the check that opened a deviation found; nothing where an
// adjustment opened it.
func errorPoints(ctx context.Context, tx *pg.Tx, d Deviation) ([]ErrorPoint, error) {
	points := []ErrorPoint{}
	if d.CheckID == nil {
		return points, nil
	}
	p, err := currentPolicy(ctx, tx)
	if err != nil {
		return nil, err
	}
	in, err := instrument.Get(ctx, tx, d.Instrument)
	if err != nil {
		return nil, err
	}
	h, err := instrument.LoadHistory(ctx, tx, in)
	if err != nil {
		return nil, err
	}
	for _, c := range h.Checks {
		if c.ID != *d.CheckID {
			continue
		}
		for _, pt := range c.Points {
			points = append(points, errorPoint(pt, p.DecisionRule))
		}
	}
	return points, nil
}
