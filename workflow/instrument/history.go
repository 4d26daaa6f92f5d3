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
	// UsedAfter says of a removal from use that readings were taken all the
	// same, before it was returned and before it next passed a check.
	UsedAfter bool
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

const happened = `
select e.event_id, e.at, e.kind, e.note, e.kind = 'removed_from_use' and exists (
  select from reading r where r.plant_id = $1 and r.instrument_id = $2 and r.taken_at > e.at
    and r.taken_at <= least(
      (select min(b.at) from instrument_event b where b.plant_id = $1 and b.instrument_id = $2
        and b.kind = 'returned_to_use' and b.at >= e.at),
      (select min(c.performed_at) from accuracy_check c where c.plant_id = $1 and c.instrument_id = $2
        and c.performed_at >= e.at and c.left_verdict = 'pass' and not c.unusable), 'infinity')) as used_after
from instrument_event e where e.plant_id = $1 and e.instrument_id = $2 order by e.at, e.event_id`

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
		Used bool      `db:"used_after"`
	}
	if err := tx.SelectContext(ctx, &events, happened, tx.Plant, in.ID); err != nil {
		return h, fmt.Errorf("history of %s: %w", in.Code, err)
	}
	for _, e := range events {
		h.Events = append(h.Events, RecordedEvent{e.ID, e.Used, metrology.Event{At: e.At.UnixMicro(), Kind: metrology.EventKind(e.Kind), Note: e.Note}})
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
