package reading

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Decision is what a person makes of a quarantined reading.
type Decision string

// The decisions. There is none that changes a value: what should have been sent
// is sent again.
const (
	Accepted Decision = "accepted" // a reading as it is
	Rejected Decision = "rejected" // no reading; the gap stays
)

// Held is a reading in quarantine.
type Held struct {
	ID int64
	Reading
	Rule       string
	Reason     string
	RecordedAt time.Time
	Resolution *Resolution // nil: nobody has decided
}

// Resolution is what somebody decided on a reading, and why.
type Resolution struct {
	Decision  Decision
	Reason    string
	DecidedBy string
	At        time.Time
}

const held = `
select q.quarantine_id, i.code, q.taken_at, q.value, coalesce(l.code, '') as lot, c.limit_name, coalesce(loc.code, '') as location,
  c.operator, c.unit, c.decimals, q.rule, q.reason, q.recorded_at, x.verdict, x.reason as decision_reason, x.decided_by, x.recorded_at as decided_at
from reading_quarantine q join instrument i using (plant_id, instrument_id) join reading_context c using (plant_id, context_id)
left join reading_resolution x using (plant_id, quarantine_id)
left join lot l on l.plant_id = q.plant_id and l.lot_id = q.lot_id
left join location loc on loc.plant_id = q.plant_id and loc.location_id = c.location_id
where q.plant_id = $1 and `

type heldRow struct {
	ID         int64      `db:"quarantine_id"`
	Code       string     `db:"code"`
	At         time.Time  `db:"taken_at"`
	Value      float64    `db:"value"`
	Lot        string     `db:"lot"`
	Limit      string     `db:"limit_name"`
	Location   string     `db:"location"`
	Operator   string     `db:"operator"`
	Unit       string     `db:"unit"`
	Decimals   int8       `db:"decimals"`
	Rule       string     `db:"rule"`
	Reason     string     `db:"reason"`
	RecordedAt time.Time  `db:"recorded_at"`
	Verdict    *Decision  `db:"verdict"`
	Why        *string    `db:"decision_reason"`
	By         *string    `db:"decided_by"`
	DecidedAt  *time.Time `db:"decided_at"`
}

func (r heldRow) held() Held {
	h := Held{ID: r.ID, Reading: Reading{Instrument: r.Code, TakenAt: r.At, Value: r.Value, Decimals: r.Decimals, Unit: unit.Scale(r.Unit[0]),
		Lot: r.Lot, Limit: r.Limit, Location: r.Location, TakenBy: r.Operator}, Rule: r.Rule, Reason: r.Reason, RecordedAt: r.RecordedAt}
	if r.Verdict != nil {
		h.Resolution = &Resolution{*r.Verdict, *r.Why, *r.By, *r.DecidedAt}
	}
	return h
}

// Quarantine returns readings in quarantine of an instrument (all: code empty)
// with a number above after; only those on which nobody has decided, if open.
func Quarantine(ctx context.Context, tx *pg.Tx, code string, open bool, after int64, limit int) ([]Held, error) {
	const which = `q.quarantine_id > $2 and ($4 = '' or i.code = $4) and (not $5 or x.verdict is null) order by q.quarantine_id limit $3`
	var rows []heldRow
	if err := tx.SelectContext(ctx, &rows, held+which, tx.Plant, after, limit, code, open); err != nil {
		return nil, fmt.Errorf("quarantine: %w", err)
	}
	out := make([]Held, len(rows))
	for i, r := range rows {
		out[i] = r.held()
	}
	return out, nil
}

// InQuarantine returns one reading in quarantine.
func InQuarantine(ctx context.Context, tx *pg.Tx, id int64) (Held, error) {
	var r heldRow
	err := tx.GetContext(ctx, &r, held+`q.quarantine_id = $2`, tx.Plant, id)
	if errors.Is(err, sql.ErrNoRows) {
		return Held{}, fault.New(fault.NotFound, "unknown-reading", "there is no reading %d in quarantine", id)
	}
	if err != nil {
		return Held{}, fmt.Errorf("quarantine: %w", err)
	}
	return r.held(), nil
}

const addResolution = `
insert into reading_resolution (plant_id, quarantine_id, verdict, reason, decided_by, recorded_at, recorded_by)
values ($1, $2, $3, $4, $5, $6, $7) on conflict do nothing`

const becomesReading = `
insert into reading (` + columns + `)
select ` + columns + ` from reading_quarantine where plant_id = $1 and quarantine_id = $2`

// Resolve records what was decided on a reading in quarantine, once, and makes a
// reading of an accepted one. It returns what that touches. The caller holds the
// shared plant lock.
func Resolve(ctx context.Context, tx *pg.Tx, id int64, d Decision, reason, by string) (Touched, error) {
	var row struct {
		Instrument instrument.ID `db:"instrument_id"`
		At         time.Time     `db:"taken_at"`
		Lot        *lot.ID       `db:"lot_id"`
	}
	const q = `select instrument_id, taken_at, lot_id from reading_quarantine where plant_id = $1 and quarantine_id = $2`
	if err := tx.GetContext(ctx, &row, q, tx.Plant, id); errors.Is(err, sql.ErrNoRows) {
		return Touched{}, fault.New(fault.NotFound, "unknown-reading", "there is no reading %d in quarantine", id)
	} else if err != nil {
		return Touched{}, fmt.Errorf("quarantine: %w", err)
	}
	res, err := tx.ExecContext(ctx, addResolution, tx.Plant, id, d, reason, by, tx.Now, tx.By.ID)
	if err != nil {
		return Touched{}, fmt.Errorf("quarantine: %w", err)
	}
	if n, _ := res.RowsAffected(); n == 0 {
		return Touched{}, fault.New(fault.Conflict, "already-resolved", "somebody has decided on this reading already: a decision stands")
	}
	if d == Accepted {
		first, _ := monthOf(row.At.UnixMicro())
		if _, err := tx.ExecContext(ctx, `select ensure_reading_month($1)`, first.Format(time.DateOnly)); err != nil {
			return Touched{}, err
		}
		if _, err := tx.ExecContext(ctx, becomesReading, tx.Plant, id); err != nil {
			return Touched{}, fmt.Errorf("quarantine: %w", err)
		}
	}
	t := Touched{Instrument: row.Instrument, First: row.At, Last: row.At, Lots: []lot.ID{}, Placed: row.Lot == nil}
	if row.Lot != nil {
		t.Lots = append(t.Lots, *row.Lot)
	}
	return t, nil
}
