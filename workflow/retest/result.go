package retest

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/sampling"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// ResultID is the database's number of a result, within its plant.
type ResultID int64

// Result is one sample's result as the laboratory reported it. It is never
// changed: another one replaces it and points at it.
type Result struct {
	ID         ResultID       `db:"result_id"`
	Retest     ID             `db:"retest_id"`
	Sample     string         `db:"sample"`
	Value      float64        `db:"value"`
	Bound      sampling.Bound `db:"bound"`
	Unit       string         `db:"unit"`
	Method     string         `db:"method"`
	Laboratory string         `db:"laboratory"`
	Report     string         `db:"report"` // the laboratory's number of it
	TestedAt   time.Time      `db:"tested_at"`
	Replaces   *ResultID      `db:"replaces"`
	Reason     string         `db:"reason"` // of a replacement
	RecordedAt time.Time      `db:"recorded_at"`
	By         string         `db:"recorded_by"`
	ReplacedBy *ResultID      `db:"replaced_by"`
	VoidedFor  string         `db:"voided_for"` // why it does not count; empty: nobody signed that
	VoidedBy   string         `db:"voided_by"`
}

// Stands says whether no other result has taken its place.
func (r Result) Stands() bool { return r.ReplacedBy == nil }

// Judged returns the result as the policy judges it.
func (r Result) Judged() sampling.Result {
	out := sampling.Result{Sample: r.Sample, Value: r.Value, Unit: r.Unit, Bound: r.Bound}
	if r.VoidedBy != "" {
		out.Void = &sampling.Void{Reason: r.VoidedFor, SignedBy: r.VoidedBy}
	}
	return out
}

const results = `
select r.result_id, r.retest_id, r.sample, r.value, r.bound, r.unit, r.method, r.laboratory, r.report, r.tested_at, r.replaces, r.reason,
  r.recorded_at, r.recorded_by, n.result_id as replaced_by, coalesce(v.reason, '') as voided_for, coalesce(v.signed_by, '') as voided_by
from retest_result r
left join retest_result n on n.plant_id = r.plant_id and n.replaces = r.result_id
left join retest_void v on v.plant_id = r.plant_id and v.result_id = r.result_id and v.signed_at is not null
where r.plant_id = $1 and `

// Results returns every result of re-tests, in the order of recording.
func Results(ctx context.Context, tx *pg.Tx, ids ...ID) ([]Result, error) {
	var list []Result
	if err := tx.SelectContext(ctx, &list, results+`r.retest_id = any($2) order by r.result_id`, tx.Plant, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("results: %w", err)
	}
	return list, nil
}

// GetResult returns one. fault.NotFound: there is none.
func GetResult(ctx context.Context, tx *pg.Tx, id ResultID) (r Result, err error) {
	err = tx.GetContext(ctx, &r, results+`r.result_id = $2`, tx.Plant, id)
	if errors.Is(err, sql.ErrNoRows) {
		return r, fault.New(fault.NotFound, "unknown-result", "there is no result %d", id)
	}
	return r, err
}

// AddResult stores one and returns its number.
func AddResult(ctx context.Context, tx *pg.Tx, r Result) (id ResultID, err error) {
	const add = `insert into retest_result (plant_id, retest_id, sample, value, bound, unit, method, laboratory, report, tested_at, replaces, reason,
		recorded_at, recorded_by) values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14) returning result_id`
	err = tx.GetContext(ctx, &id, add, tx.Plant, r.Retest, r.Sample, r.Value, r.Bound, r.Unit, r.Method, r.Laboratory, r.Report, r.TestedAt,
		r.Replaces, r.Reason, tx.Now, tx.By.ID)
	if err != nil {
		return 0, fmt.Errorf("result of %s: %w", r.Sample, err)
	}
	return id, nil
}

// Void is what is asked not to count: a result, or a whole order.
type Void struct {
	ID     int64     `db:"void_id"`
	Retest ID        `db:"retest_id"`
	Result *ResultID `db:"result_id"` // nil: the order is taken back
	Reason string    `db:"reason"`
	Signed bool      `db:"signed"`
}

// AskVoid stores that somebody asks for it; another reason takes the place of one
// that nobody signed for.
func AskVoid(ctx context.Context, tx *pg.Tx, v Void) (Void, error) {
	const ask = `insert into retest_void (plant_id, retest_id, result_id, reason, asked_at, asked_by) values ($1, $2, $3, $4, $5, $6)
		on conflict on constraint retest_void_once do update set reason = excluded.reason, asked_at = excluded.asked_at, asked_by = excluded.asked_by
		where retest_void.signed_at is null returning void_id`
	err := tx.GetContext(ctx, &v.ID, ask, tx.Plant, v.Retest, v.Result, v.Reason, tx.Now, tx.By.ID)
	if errors.Is(err, sql.ErrNoRows) {
		return v, fault.New(fault.Refused, "already-void", "it does not count already")
	}
	return v, err
}

// GetVoid returns one.
func GetVoid(ctx context.Context, tx *pg.Tx, id int64) (v Void, err error) {
	const q = `select void_id, retest_id, result_id, reason, signed_at is not null as signed from retest_void where plant_id = $1 and void_id = $2`
	return v, tx.GetContext(ctx, &v, q, tx.Plant, id)
}

// Cancelled returns which re-tests were taken back, by signature.
func Cancelled(ctx context.Context, tx *pg.Tx, ids ...ID) (list []ID, err error) {
	const q = `select retest_id from retest_void where plant_id = $1 and retest_id = any($2) and result_id is null and signed_at is not null`
	return list, tx.SelectContext(ctx, &list, q, tx.Plant, pq.Array(ids))
}

// SignVoid says that everyone has signed for it.
func SignVoid(ctx context.Context, tx *pg.Tx, id int64, by string) error {
	const q = `update retest_void set signed_at = $3, signed_by = $4 where plant_id = $1 and void_id = $2 and signed_at is null`
	if _, err := tx.ExecContext(ctx, q, tx.Plant, id, tx.Now, by); err != nil {
		return fmt.Errorf("void %d: %w", id, err)
	}
	return nil
}
