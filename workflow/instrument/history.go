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
	// Overdue are the times at which it was read though nobody had checked it in
	// time.
	Overdue []Overdue `json:",omitempty"`
}

// Overdue says that a check was overdue.
type Overdue struct {
	ID    int64
	DueAt int64 // until when a check would have been in time [µs]
	// InTimeFrom is from when on a clear pass would have been in time [µs].
	InTimeFrom int64
}

// Recorded is a stored check, ready to be reasoned with.
type Recorded struct {
	ID    int64
	Found metrology.Verdict
	Left  metrology.Verdict
	// FoundThen and LeftThen are what was made of it when it was recorded, if it
	// was judged anew since.
	FoundThen metrology.Verdict `json:",omitzero"`
	LeftThen  metrology.Verdict `json:",omitzero"`
	metrology.Check
}

// Distrust takes a check's worth away: the reference that it was made with was
// itself in doubt then.
func (r *Recorded) Distrust(reference string) {
	r.Untrusted = "the reference " + reference + " was itself in doubt"
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
select c.check_id, c.performed_at, c.unusable, c.left_unknown, coalesce(j.found_verdict, c.found_verdict) as found_verdict,
  coalesce(j.left_verdict, c.left_verdict) as left_verdict, coalesce(j.distrusted, '') as unfit,
  case when j.found_verdict is null then '' else c.found_verdict end as found_then,
  case when j.found_verdict is null then '' else c.left_verdict end as left_then,
  coalesce((select min(r.code) from check_point p
    join deviation_window w on w.plant_id = p.plant_id and w.instrument_id = p.reference_id and w.span @> c.performed_at
    join instrument r on r.plant_id = p.plant_id and r.instrument_id = p.reference_id
    where p.plant_id = c.plant_id and p.check_id = c.check_id), '') as distrusted
from accuracy_check c left join lateral (select * from check_rejudged j
  where j.plant_id = c.plant_id and j.check_id = c.check_id order by j.rejudged_id desc limit 1) j on true
where c.plant_id = $1 and c.instrument_id = $2 order by c.performed_at`

const points = `
select p.check_id, p.kind, p.unit, p.found, p.as_left, coalesce(q.true_temperature, p.true_temperature) as true_temperature,
  coalesce(q.reference_u, p.reference_u) as reference_u, coalesce(q.basis, p.basis) as basis,
  coalesce(q.reference_dof, p.reference_dof, 0) as reference_dof, p.repeats, p.spread,
  coalesce(r.code, '') as reference
from check_point p join accuracy_check c using (plant_id, check_id)
` + anew + `
left join instrument r on r.plant_id = p.plant_id and r.instrument_id = p.reference_id
where p.plant_id = $1 and c.instrument_id = $2 order by p.check_id, p.ordinal`

// happened: readings are kept by the time that the instrument's clock showed; off
// is how far that was ahead when an event happened, or may have been.
const happened = `
select e.event_id, e.at, e.kind, e.note, e.kind = 'removed_from_use' and exists (
  select from reading r where r.plant_id = $1 and r.instrument_id = $2 and r.taken_at > e.at + k.off
    and r.taken_at <= k.off + least(
      (select min(b.at) from instrument_event b where b.plant_id = $1 and b.instrument_id = $2
        and b.kind = 'returned_to_use' and b.at >= e.at),
      (select min(c.performed_at) from accuracy_check c where c.plant_id = $1 and c.instrument_id = $2
        and c.performed_at >= e.at and c.left_verdict = 'pass' and not c.unusable), 'infinity')) as used_after
from instrument_event e
cross join lateral (select make_interval(secs => coalesce(max(coalesce(o.ahead_us, 0) + o.bound_us), 0) / 1000000.0) as off
  from clock_offset o where o.plant_id = $1 and o.instrument_id = $2
    and e.at + make_interval(secs => coalesce(o.ahead_us, 0) / 1000000.0) >= o.shown_from
    and e.at + make_interval(secs => coalesce(o.ahead_us, 0) / 1000000.0) < coalesce(o.shown_to, 'infinity')) k
where e.plant_id = $1 and e.instrument_id = $2 order by e.at, e.event_id`

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
	if h.Overdue, err = loadOverdue(ctx, tx, in); err != nil {
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
		Unfit       string    `db:"unfit"`
		FoundThen   string    `db:"found_then"`
		LeftThen    string    `db:"left_then"`
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
		r := Recorded{ID: c.ID, Found: metrology.Verdict(c.Found), Left: metrology.Verdict(c.Left),
			FoundThen: metrology.Verdict(c.FoundThen), LeftThen: metrology.Verdict(c.LeftThen), Check: metrology.Check{
				At: c.At.UnixMicro(), Points: at[c.ID], Unusable: c.Unusable, LeftUnknown: c.LeftUnknown}}
		r.Untrusted = c.Unfit
		if c.Distrusted != "" {
			r.Distrust(c.Distrusted)
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

		RefDoF  float64     `db:"reference_dof"`
		Repeats *int        `db:"repeats"`
		Spread  *unit.Micro `db:"spread"`
		Code    string      `db:"reference"`
	}
	if err := tx.SelectContext(ctx, &rows, points, tx.Plant, in.ID); err != nil {
		return nil, err
	}
	m := map[int64][]metrology.Point{}
	for _, r := range rows {
		ref := metrology.Reference{True: r.True, Scale: unit.Scale(r.Unit[0]), U: unit.CelsiusDiff(r.RefU), DoF: r.RefDoF, Basis: r.Basis}
		p, err := newPoint(in, r.Kind, ref, r.Found, r.Left, r.Repeats, r.Spread)
		if err != nil {
			return nil, err
		}
		p.ReferenceID = r.Code
		m[r.Check] = append(m[r.Check], p)
	}
	return m, nil
}
