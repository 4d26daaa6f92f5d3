package instrument

import (
	"context"
	"fmt"
	"time"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/pg"
)

// History is everything that is known of an instrument's accuracy, in order of
// time.
type History struct {
	Checks []Recorded
	Events []RecordedEvent
}

// Recorded is a stored check, ready to be reasoned with.
type Recorded struct {
	ID    int64
	Found metrology.Verdict
	Left  metrology.Verdict
	metrology.Check
}

// RecordedEvent is a stored event.
type RecordedEvent struct {
	ID int64
	metrology.Event
}

// distrust: a check is not trusted whose reference was itself in doubt when it
// was made.
const checks = `
select c.check_id, c.performed_at, c.unusable, c.left_unknown, c.found_verdict, c.left_verdict,
  coalesce((select min(r.code) from check_point p
    join deviation_window w on w.plant_id = p.plant_id and w.instrument_id = p.reference_id and w.span @> c.performed_at
    join instrument r on r.plant_id = p.plant_id and r.instrument_id = p.reference_id
    where p.plant_id = c.plant_id and p.check_id = c.check_id), '') as distrusted
from accuracy_check c where c.plant_id = $1 and c.instrument_id = $2 order by c.performed_at`

const points = `
select p.check_id, p.kind, p.unit, p.found, p.as_left, p.true_temperature, p.reference_u, p.basis
from check_point p join accuracy_check c using (plant_id, check_id)
where p.plant_id = $1 and c.instrument_id = $2 order by p.check_id, p.ordinal`

// LoadHistory returns the history of an instrument.
func LoadHistory(ctx context.Context, tx *pg.Tx, in Stored) (History, error) {
	h, err := loadChecks(ctx, tx, in)
	if err != nil {
		return h, fmt.Errorf("history of %s: %w", in.Code, err)
	}
	var events []struct {
		ID   int64     `db:"event_id"`
		At   time.Time `db:"at"`
		Kind string    `db:"kind"`
		Note string    `db:"note"`
	}
	const q = `select event_id, at, kind, note from instrument_event where plant_id = $1 and instrument_id = $2 order by at, event_id`
	if err := tx.SelectContext(ctx, &events, q, tx.Plant, in.ID); err != nil {
		return h, fmt.Errorf("history of %s: %w", in.Code, err)
	}
	for _, e := range events {
		h.Events = append(h.Events, RecordedEvent{e.ID, metrology.Event{At: e.At.UnixMicro(), Kind: metrology.EventKind(e.Kind), Note: e.Note}})
	}
	return h, nil
}

func loadChecks(ctx context.Context, tx *pg.Tx, in Stored) (History, error) {
	var heads []struct {
		ID          int64     `db:"check_id"`
		At          time.Time `db:"performed_at"`
		Unusable    bool      `db:"unusable"`
		LeftUnknown bool      `db:"left_unknown"`
		Found       string    `db:"found_verdict"`
		Left        string    `db:"left_verdict"`
		Distrusted  string    `db:"distrusted"`
	}
	var h History
	if err := tx.SelectContext(ctx, &heads, checks, tx.Plant, in.ID); err != nil {
		return h, err
	}
	at, err := loadPoints(ctx, tx, in)
	if err != nil {
		return h, err
	}
	for _, c := range heads {
		r := Recorded{ID: c.ID, Found: metrology.Verdict(c.Found), Left: metrology.Verdict(c.Left), Check: metrology.Check{
			At: c.At.UnixMicro(), Points: at[c.ID], Unusable: c.Unusable, LeftUnknown: c.LeftUnknown}}
		if c.Distrusted != "" {
			r.Untrusted = "the reference " + c.Distrusted + " was itself in doubt"
		}
		h.Checks = append(h.Checks, r)
	}
	return h, nil
}

func loadPoints(ctx context.Context, tx *pg.Tx, in Stored) (map[int64][]metrology.Point, error) {
	var rows []struct {
		Check int64       `db:"check_id"`
		Kind  string      `db:"kind"`
		Unit  string      `db:"unit"`
		Found *unit.Micro `db:"found"`
		Left  *unit.Micro `db:"as_left"`
		True  unit.Micro  `db:"true_temperature"`
		RefU  float64     `db:"reference_u"`
		Basis string      `db:"basis"`
	}
	if err := tx.SelectContext(ctx, &rows, points, tx.Plant, in.ID); err != nil {
		return nil, err
	}
	m := map[int64][]metrology.Point{}
	for _, r := range rows {
		ref := metrology.Reference{True: r.True, Scale: unit.Scale(r.Unit[0]), U: unit.CelsiusDiff(r.RefU), Basis: r.Basis}
		m[r.Check] = append(m[r.Check], metrology.NewPoint(r.Kind, ref, r.Found, r.Left, in.ResolutionDiff()))
	}
	return m, nil
}
