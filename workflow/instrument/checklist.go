package instrument

import (
	"context"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Done is a check as it is recorded, with what was made of it.
type Done struct {
	ID            int64
	Instrument    Stored
	Check         Check
	Found, Left   metrology.Verdict
	LeftUnknown   bool
	PolicyVersion int
	RecordedAt    time.Time
	Points        []DonePoint // one for each point of the check
}

// DonePoint is what a point was judged with.
type DonePoint struct {
	True  unit.Micro // true temperature, in the point's unit
	Basis string     // how it was found
	U     unit.CelsiusDiff
	// Found and Left are the errors [K]; nil: not taken.
	Found, Left *unit.CelsiusDiff
}

type doneRow struct {
	ID            int64     `db:"check_id"`
	Instrument    ID        `db:"instrument_id"`
	PerformedAt   time.Time `db:"performed_at"`
	PerformedBy   string    `db:"performed_by"`
	VerifiedBy    string    `db:"verified_by"`
	Unusable      bool      `db:"unusable"`
	Confirmed     bool      `db:"confirmed"`
	LeftUnknown   bool      `db:"left_unknown"`
	Found         string    `db:"found_verdict"`
	Left          string    `db:"left_verdict"`
	PolicyVersion int       `db:"policy_version"`
	RecordedAt    time.Time `db:"recorded_at"`
	Points        []byte    `db:"points"`
}

const done = `
select c.check_id, c.instrument_id, c.performed_at, c.performed_by, c.verified_by, c.unusable, c.confirmed, c.left_unknown,
  c.found_verdict, c.left_verdict, c.policy_version, c.recorded_at,
  coalesce((select json_agg(to_jsonb(p) || jsonb_build_object('reference', coalesce(ref.code, '')) order by p.ordinal)
    from check_point p left join instrument ref on ref.plant_id = p.plant_id and ref.instrument_id = p.reference_id
    where p.plant_id = c.plant_id and p.check_id = c.check_id), '[]') as points
from accuracy_check c where c.plant_id = $1 and `

// ChecksDone returns the checks of an instrument (all: code empty) with a number
// above after.
func ChecksDone(ctx context.Context, tx *pg.Tx, code string, after int64, limit int) ([]Done, error) {
	const which = `c.check_id > $2 and ($4 = '' or c.instrument_id = (select instrument_id from instrument
		where plant_id = $1 and code = $4)) order by c.check_id limit $3`
	return checksDone(ctx, tx, done+which, tx.Plant, after, limit, code)
}

// CheckDone returns one check.
func CheckDone(ctx context.Context, tx *pg.Tx, id int64) (Done, error) {
	list, err := checksDone(ctx, tx, done+`c.check_id = $2`, tx.Plant, id)
	if err == nil && len(list) == 0 {
		err = fault.New(fault.NotFound, "unknown-check", "there is no check %d", id)
	}
	if err != nil {
		return Done{}, err
	}
	return list[0], nil
}

// CheckDoneAt returns the check of an instrument at a time.
func CheckDoneAt(ctx context.Context, tx *pg.Tx, code string, at time.Time) (Done, error) {
	list, err := checksDone(ctx, tx, done+`c.performed_at = $3 and c.instrument_id = (select instrument_id from instrument
		where plant_id = $1 and code = $2)`, tx.Plant, code, at)
	if err == nil && len(list) == 0 {
		err = fault.New(fault.NotFound, "unknown-check", "there is no check of %s at %s", code, at.Format(time.RFC3339Nano))
	}
	if err != nil {
		return Done{}, err
	}
	return list[0], nil
}

func checksDone(ctx context.Context, tx *pg.Tx, q string, args ...any) ([]Done, error) {
	var rows []doneRow
	if err := tx.SelectContext(ctx, &rows, q, args...); err != nil {
		return nil, fmt.Errorf("checks: %w", err)
	}
	known, err := Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	byID := make(map[ID]Stored, len(known))
	for _, in := range known {
		byID[in.ID] = in
	}
	out := make([]Done, len(rows))
	for i, r := range rows {
		if out[i], err = r.done(byID[r.Instrument]); err != nil {
			return nil, fmt.Errorf("check %d: %w", r.ID, err)
		}
	}
	return out, nil
}

func (r doneRow) done(in Stored) (Done, error) {
	d := Done{ID: r.ID, Instrument: in, Found: metrology.Verdict(r.Found), Left: metrology.Verdict(r.Left), LeftUnknown: r.LeftUnknown,
		PolicyVersion: r.PolicyVersion, RecordedAt: r.RecordedAt, Check: Check{Instrument: in.Code, PerformedAt: r.PerformedAt,
			PerformedBy: r.PerformedBy, VerifiedBy: r.VerifiedBy, Unusable: r.Unusable, Confirmed: r.Confirmed}}
	var points []struct {
		pointRow
		Code string `json:"reference"`
	}
	if err := json.Unmarshal(r.Points, &points); err != nil {
		return d, err
	}
	for _, p := range points {
		s := unit.Scale(p.Unit[0])
		d.Check.Points = append(d.Check.Points, CheckPoint{Kind: p.Kind, Unit: s, Nominal: p.Nominal, Reference: p.Code,
			ReferenceReading: p.RefReading, ReferenceUncertainty: p.RefExpanded, PressureKPa: p.PressureKPa, Found: p.Found, Left: p.Left,
			Repeats: p.Repeats, Spread: p.Spread})
		ref := metrology.Reference{True: p.True, Scale: s, U: unit.CelsiusDiff(p.RefU), DoF: p.RefDoF, Basis: p.Basis}
		m, err := newPoint(in, string(p.Kind), ref, p.Found, p.Left, p.Repeats, p.Spread)
		if err != nil {
			return d, err
		}
		d.Points = append(d.Points, DonePoint{True: p.True, Basis: p.Basis, U: m.U,
			Found: errorOf(p.Found, p.True, s), Left: errorOf(p.Left, p.True, s)})
	}
	return d, nil
}

func errorOf(shown *unit.Micro, truth unit.Micro, s unit.Scale) *unit.CelsiusDiff {
	if shown == nil {
		return nil
	}
	k := unit.Diff{Value: *shown - truth, Scale: s}.Kelvin()
	return &k
}
