package correct

import (
	"context"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/pg"
)

// Part is one of the four parts of a corrective action (9 CFR 417.3(a)).
type Part string

// The parts.
const (
	Cause      Part = "cause"      // found, and eliminated
	Control    Part = "control"    // the control point is under control afterwards
	Prevention Part = "prevention" // it does not come back
	Product    Part = "product"    // none that is injurious or adulterated enters commerce
)

// Parts are all of them, in the order of the law.
var Parts = []Part{Cause, Control, Prevention, Product}

// Written is what somebody wrote of a part.
type Written struct {
	ID          int64      `db:"part_id"`
	Deviation   int64      `db:"deviation_id"`
	Part        Part       `db:"part"`
	Text        string     `db:"wording"`
	Open        bool       `db:"open"`         // of a cause: not found; of prevention: none is needed
	Statement   string     `db:"statement"`    // why that is so
	PlanFailed  bool       `db:"plan_failed"`  // of a cause: what was planned did not work
	SameAs      *int64     `db:"same_as"`      // of a cause: the deviation that had the same
	EffectiveBy *time.Time `db:"effective_by"` // of prevention: when it is looked at whether it works
	At          time.Time  `db:"written_at"`
	By          string     `db:"written_by"`
	Papers      []Paper    `db:"-"`
}

// Of returns what counts of each part that was written in a deviation: the newest.
func Of(ctx context.Context, tx *pg.Tx, deviation int64) (map[Part]Written, error) {
	var rows []Written
	const q = `select distinct on (part) part_id, deviation_id, part, wording, open, statement, plan_failed, same_as, effective_by, written_at, written_by
		from correction_part where plant_id = $1 and deviation_id = $2 order by part, part_id desc`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, deviation); err != nil {
		return nil, fmt.Errorf("corrective action: %w", err)
	}
	ids := make([]int64, len(rows))
	for i, r := range rows {
		ids[i] = r.ID
	}
	papers, err := papersOf(ctx, tx, ofPart, ids)
	if err != nil {
		return nil, err
	}
	out := map[Part]Written{}
	for _, r := range rows {
		r.Papers = papers[r.ID]
		out[r.Part] = r
	}
	return out, nil
}

// Write stores what somebody wrote and returns it.
func Write(ctx context.Context, tx *pg.Tx, w Written) (Written, error) {
	w.At, w.By = tx.Now, tx.By.ID
	const add = `insert into correction_part (plant_id, deviation_id, part, wording, open, statement, plan_failed, same_as, effective_by, written_at, written_by)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) returning part_id`
	err := tx.GetContext(ctx, &w.ID, add, tx.Plant, w.Deviation, w.Part, w.Text, w.Open, w.Statement, w.PlanFailed, w.SameAs, w.EffectiveBy, w.At, w.By)
	if err != nil {
		return w, fmt.Errorf("corrective action: %w", err)
	}
	return w, addPapers(ctx, tx, ofPart, w.ID, w.Papers)
}

// Effect is what somebody saw when they looked whether a preventive measure works.
type Effect struct {
	ID        int64     `db:"effect_id"`
	Part      int64     `db:"part_id"`
	Effective bool      `db:"effective"`
	Text      string    `db:"wording"`
	LookedAt  time.Time `db:"looked_at"`
	At        time.Time `db:"written_at"`
	By        string    `db:"written_by"`
	Papers    []Paper   `db:"-"`
}

// EffectOf returns the newest of a preventive measure; nil: nobody looked yet.
func EffectOf(ctx context.Context, tx *pg.Tx, part int64) (*Effect, error) {
	var rows []Effect
	const q = `select effect_id, part_id, effective, wording, looked_at, written_at, written_by from correction_effect
		where plant_id = $1 and part_id = $2 order by effect_id desc limit 1`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, part); err != nil || len(rows) == 0 {
		return nil, err
	}
	papers, err := papersOf(ctx, tx, ofEffect, []int64{rows[0].ID})
	rows[0].Papers = papers[rows[0].ID]
	return &rows[0], err
}

// AddEffect stores one and returns it.
func AddEffect(ctx context.Context, tx *pg.Tx, e Effect) (Effect, error) {
	e.At, e.By = tx.Now, tx.By.ID
	const add = `insert into correction_effect (plant_id, part_id, effective, wording, looked_at, written_at, written_by)
		values ($1, $2, $3, $4, $5, $6, $7) returning effect_id`
	if err := tx.GetContext(ctx, &e.ID, add, tx.Plant, e.Part, e.Effective, e.Text, e.LookedAt, e.At, e.By); err != nil {
		return e, fmt.Errorf("effectiveness: %w", err)
	}
	return e, addPapers(ctx, tx, ofEffect, e.ID, e.Papers)
}

// Reopens returns the closed deviations whose preventive measure was still on
// trial at a time, among those of an instrument and the one named; 0: none named.
// It is on trial until its day, whatever was seen before.
func Reopens(ctx context.Context, tx *pg.Tx, instrument int32, named, except int64, at time.Time) (ids []int64, err error) {
	const q = `
select d.deviation_id from deviation d
join lateral (select part_id, effective_by from correction_part p where p.plant_id = d.plant_id and p.deviation_id = d.deviation_id
  and p.part = 'prevention' order by part_id desc limit 1) p on p.effective_by >= $4
where d.plant_id = $1 and d.state = 'closed' and d.deviation_id <> $5 and (d.instrument_id = $2 or d.deviation_id = $3)
order by d.deviation_id`
	return ids, tx.SelectContext(ctx, &ids, q, tx.Plant, instrument, named, at, except)
}

// Recurred asks for closed deviations to be opened again.
func Recurred(ctx context.Context, tx *pg.Tx, ids []int64, why string) error {
	const ask = `update deviation set reopen_asked = $3, retrace_due = coalesce(retrace_due, $4), evidence_count = evidence_count + 1
		where plant_id = $1 and deviation_id = any($2) and state = 'closed'`
	_, err := tx.ExecContext(ctx, ask, tx.Plant, pq.Array(ids), why, tx.Now)
	return err
}
