package correct

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// Return is what somebody asks to put an instrument back into use on.
type Return struct {
	ID         int64         `db:"return_id"`
	Instrument instrument.ID `db:"instrument_id"`
	Deviation  int64         `db:"deviation_id"`
	Check      int64         `db:"check_id"`
	Reason     string        `db:"reason"`
	By         string        `db:"asked_by"`
}

// AskReturn stores one, once for a check.
func AskReturn(ctx context.Context, tx *pg.Tx, r Return) (Return, error) {
	const ask = `with n as (insert into instrument_return (plant_id, instrument_id, deviation_id, check_id, reason, asked_at, asked_by)
		values ($1, $2, $3, $4, $5, $6, $7) on conflict do nothing returning return_id, instrument_id, deviation_id, check_id, reason, asked_by)
		select * from n union all select return_id, instrument_id, deviation_id, check_id, reason, asked_by from instrument_return
		where plant_id = $1 and instrument_id = $2 and check_id = $4 limit 1`
	err := tx.GetContext(ctx, &r, ask, tx.Plant, r.Instrument, r.Deviation, r.Check, r.Reason, tx.Now, tx.By.ID)
	return r, err
}

// GetReturn returns one.
func GetReturn(ctx context.Context, tx *pg.Tx, id int64) (r Return, err error) {
	const q = `select return_id, instrument_id, deviation_id, check_id, reason, asked_by from instrument_return where plant_id = $1 and return_id = $2`
	return r, tx.GetContext(ctx, &r, q, tx.Plant, id)
}

// Outcome is what became of an instrument.
type Outcome struct {
	Outcome string    `db:"outcome"` // returned, retired, lost
	Check   *int64    `db:"check_id"`
	Reason  string    `db:"reason"`
	At      time.Time `db:"at"`
	By      string    `db:"by"`
}

// Outcomes returns what became of an instrument, in order of time.
func Outcomes(ctx context.Context, tx *pg.Tx, id instrument.ID) ([]Outcome, error) {
	var list []Outcome
	const q = `select outcome, check_id, reason, at, by from instrument_outcome where plant_id = $1 and instrument_id = $2 order by outcome_id`
	if err := tx.SelectContext(ctx, &list, q, tx.Plant, id); err != nil {
		return nil, fmt.Errorf("outcomes: %w", err)
	}
	return list, nil
}

// AddOutcome stores one and moves the instrument to a state. fault.Stale: it is
// in none of those that it may come from.
func AddOutcome(ctx context.Context, tx *pg.Tx, id instrument.ID, o Outcome, to string) error {
	const move = `update instrument set state = $3, version = version + 1 where plant_id = $1 and instrument_id = $2 and state <> $3 and state in ('in_use', 'suspended')`
	res, err := tx.ExecContext(ctx, move, tx.Plant, id, to)
	if err != nil {
		return err
	}
	if n, _ := res.RowsAffected(); n != 1 {
		return fault.New(fault.Stale, "precondition-failed", "the instrument has changed since")
	}
	const add = `insert into instrument_outcome (plant_id, instrument_id, outcome, check_id, reason, at, by) values ($1, $2, $3, $4, $5, $6, $7)`
	_, err = tx.ExecContext(ctx, add, tx.Plant, id, o.Outcome, o.Check, o.Reason, tx.Now, tx.By.ID)
	return err
}

// StateOf locks an instrument and returns its state.
func StateOf(ctx context.Context, tx *pg.Tx, id instrument.ID, lock bool) (state string, err error) {
	q := `select state from instrument where plant_id = $1 and instrument_id = $2`
	if lock {
		q += ` for update`
	}
	return state, tx.GetContext(ctx, &state, q, tx.Plant, id)
}

// Reanalysis is what became of the plan.
type Reanalysis struct {
	ID        int64     `db:"reanalysis_id"`
	Deviation int64     `db:"deviation_id"`
	Outcome   string    `db:"outcome"`
	Changes   bool      `db:"plan_changes"`
	Version   string    `db:"plan_version"` // as the plant calls it; empty: the plan stays
	At        time.Time `db:"written_at"`
	By        string    `db:"written_by"`
}

// ReanalysisOf returns the newest of a deviation; nil: nobody wrote one.
func ReanalysisOf(ctx context.Context, tx *pg.Tx, deviation int64) (*Reanalysis, error) {
	var r Reanalysis
	const q = `select reanalysis_id, deviation_id, outcome, plan_changes, plan_version, written_at, written_by from reanalysis
		where plant_id = $1 and deviation_id = $2 order by reanalysis_id desc limit 1`
	err := tx.GetContext(ctx, &r, q, tx.Plant, deviation)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	return &r, err
}

// AddReanalysis stores one and returns it.
func AddReanalysis(ctx context.Context, tx *pg.Tx, r Reanalysis) (Reanalysis, error) {
	r.At, r.By = tx.Now, tx.By.ID
	const add = `insert into reanalysis (plant_id, deviation_id, outcome, plan_changes, plan_version, written_at, written_by)
		values ($1, $2, $3, $4, $5, $6, $7) returning reanalysis_id`
	return r, tx.GetContext(ctx, &r.ID, add, tx.Plant, r.Deviation, r.Outcome, r.Changes, r.Version, r.At, r.By)
}
