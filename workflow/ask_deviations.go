package workflow

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/document"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// DeviationHead is a deviation in a list.
type DeviationHead struct {
	Deviation
	InstrumentCode string `db:"code"`
	Holds          int    `db:"holds"`
	Acknowledged   int    `db:"acknowledged"`
	// CascadePending is the cascade that the instrument is the head of or a part
	// of, until somebody confirms it; nil: none.
	CascadePending *CascadeID `db:"cascade_pending"`
}

// cascadePending looks for the cascade of which the instrument of d is a part.
const cascadePending = `(select min(k.cascade_id) from cascade k where k.plant_id = d.plant_id and k.state = 'pending'
	and (k.instrument_id = d.instrument_id or exists (select from cascade_window w
		where w.plant_id = k.plant_id and w.cascade_id = k.cascade_id and w.instrument_id = d.instrument_id)))`

// DeviationsAfter returns up to limit deviations with numbers above after, in
// order of number; of one state if it is not empty.
func (s *Service) DeviationsAfter(ctx context.Context, sc pg.Scope, state State, after int64, limit int) ([]DeviationHead, error) {
	const q = `select d.deviation_id, d.instrument_id, d.check_id, d.event_id, d.overdue_id, d.state, d.failed_at, d.opened_at, d.retrace_due,
		d.evidence_count, d.evaluator, d.policy_version, d.version, i.code,
		(select count(*) from hold h where h.plant_id = d.plant_id and h.deviation_id = d.deviation_id and h.lifted_at is null) as holds,
		(select count(*) from hold h where h.plant_id = d.plant_id and h.deviation_id = d.deviation_id and h.lifted_at is null
			and h.acknowledged_at is not null) as acknowledged, ` + cascadePending + ` as cascade_pending
		from deviation d join instrument i using (plant_id, instrument_id)
		where d.plant_id = $1 and d.deviation_id > $2 and ($3 = '' or d.state = $3) order by d.deviation_id limit $4`
	return ask(ctx, s, sc, func(tx *pg.Tx) (list []DeviationHead, err error) {
		return list, tx.SelectContext(ctx, &list, q, tx.Plant, after, string(state), limit)
	})
}

// RunHead is a trace run in a list.
type RunHead struct {
	Number        int       `db:"run_number"`
	MadeAt        time.Time `db:"made_at"`
	MadeBy        string    `db:"made_by"`
	InputDigest   []byte    `db:"input_digest"`
	PolicyVersion int       `db:"policy_version"`
	Method        string    `db:"method"`
	Readings      int64     `db:"readings"`
}

// Runs returns the trace runs of a deviation, in order.
func (s *Service) Runs(ctx context.Context, sc pg.Scope, id DeviationID) ([]RunHead, error) {
	const q = `select run_number, made_at, made_by, input_digest, policy_version, method, readings from trace_run
		where plant_id = $1 and deviation_id = $2 order by run_number`
	return ask(ctx, s, sc, func(tx *pg.Tx) (list []RunHead, err error) {
		if _, err := getDeviation(ctx, tx, id, ""); err != nil {
			return nil, err
		}
		return list, tx.SelectContext(ctx, &list, q, tx.Plant, id)
	})
}

// Run returns one trace run of a deviation.
func (s *Service) Run(ctx context.Context, sc pg.Scope, id DeviationID, number int) (Run, error) {
	const q = `select body from trace_run where plant_id = $1 and deviation_id = $2 and run_number = $3`
	return ask(ctx, s, sc, func(tx *pg.Tx) (run Run, err error) {
		var body []byte
		switch err := tx.GetContext(ctx, &body, q, tx.Plant, id, number); {
		case errors.Is(err, sql.ErrNoRows):
			return run, fault.New(fault.NotFound, "unknown-run", "deviation %d has no trace run %d", id, number)
		case err != nil:
			return run, err
		}
		return run, json.Unmarshal(body, &run)
	})
}

// HoldsAfter returns up to limit standing holds with numbers above after; of one
// deviation if it is not zero.
func (s *Service) HoldsAfter(ctx context.Context, sc pg.Scope, deviation DeviationID, after int64, limit int) ([]hold.Hold, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]hold.Hold, error) { return hold.After(ctx, tx, int64(deviation), after, limit) })
}

// Hold returns one standing hold.
func (s *Service) Hold(ctx context.Context, sc pg.Scope, id hold.ID) (hold.Hold, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (hold.Hold, error) { return hold.Get(ctx, tx, id) })
}

// TrailAfter returns up to limit entries of a stream after a place in it.
func (s *Service) TrailAfter(ctx context.Context, sc pg.Scope, stream string, after int64, limit int) ([]trail.Stored, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]trail.Stored, error) { return trail.After(ctx, tx, stream, after, limit) })
}

// VerifyTrail checks every stream of the plant and the log over them. It returns
// how many entries it looked at, how many of them stand in line for the log and
// have no leaf yet, and, in words, the first that is wrong; empty if none is.
func (s *Service) VerifyTrail(ctx context.Context, sc pg.Scope) (entries, inLine int, wrong string, err error) {
	err = s.db.Read(ctx, sc, func(tx *pg.Tx) error {
		if inLine, err = trail.InLine(ctx, tx); err != nil {
			return err
		}
		n, err := trail.Verify(ctx, tx)
		entries = n
		if err != nil && n > 0 {
			wrong = err.Error()
			return nil
		}
		return err
	})
	return entries, inLine, wrong, err
}

// PolicyInForce is the policy in force.
type PolicyInForce struct {
	Version int
	Text    []byte
	*document.Policy
}

// CurrentPolicy returns the policy in force.
func (s *Service) CurrentPolicy(ctx context.Context, sc pg.Scope) (PolicyInForce, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (PolicyInForce, error) {
		p, err := currentPolicy(ctx, tx)
		if err != nil {
			return PolicyInForce{}, fmt.Errorf("policy: %w", err)
		}
		return PolicyInForce{p.version, p.Source, p.Policy}, nil
	})
}
