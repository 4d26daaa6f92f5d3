package workflow

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// DeviationID is the database's number of a deviation, within its plant.
type DeviationID int64

// Deviation is the case that a failed check opens.
type Deviation struct {
	ID            DeviationID   `db:"deviation_id"`
	Instrument    instrument.ID `db:"instrument_id"`
	CheckID       *int64        `db:"check_id"`                     // what opened it: a check, or
	EventID       *int64        `db:"event_id"`                     // an adjustment without an as-found, or
	OverdueID     *int64        `db:"overdue_id" json:",omitempty"` // a check that nobody made in time
	State         State         `db:"state"`
	FailedAt      time.Time     `db:"failed_at"`
	OpenedAt      time.Time     `db:"opened_at"`
	RetraceDue    *time.Time    `db:"retrace_due"`
	EvidenceCount int64         `db:"evidence_count"`
	Evaluator     *string       `db:"evaluator"`
	PolicyVersion int           `db:"policy_version"`
	Reopened      int           `db:"reopened"`                           // how often
	ReopenAsked   *string       `db:"reopen_asked"`                       // why a person wants it reopened, until it is
	Evaluated     []byte        `db:"evaluated_digest" json:",omitempty"` // of the findings that the evaluator saw
	Version       int           `db:"version"`
}

const deviationColumns = `deviation_id, instrument_id, check_id, event_id, overdue_id, state, failed_at, opened_at, retrace_due,
	evidence_count, evaluator, policy_version, reopened, reopen_asked, evaluated_digest, version`

// stream is the deviation's stream of the trail.
func (d Deviation) stream() string { return fmt.Sprintf("deviation/%d", d.ID) }

// opened says whether o opened d.
func (d Deviation) opened(o opening) bool {
	switch {
	case o.check != nil:
		return d.CheckID != nil && *d.CheckID == o.check.ID
	case o.event != nil:
		return d.EventID != nil && *d.EventID == o.event.ID
	}
	return d.OverdueID != nil && *d.OverdueID == o.overdue.ID
}

// isOf says whether d is the case of o: opened by it, or by something that was
// known sooner though it happened later, before the next clear pass.
func (d Deviation) isOf(o opening) bool {
	at := d.FailedAt.UnixMicro()
	return d.opened(o) || at > o.at() && at < o.until
}

// Deviations returns the plant's deviations in order of failure.
func (s *Service) Deviations(ctx context.Context, sc pg.Scope) (list []Deviation, err error) {
	err = s.db.Read(ctx, sc, func(tx *pg.Tx) error {
		const q = `select ` + deviationColumns + ` from deviation where plant_id = $1 order by failed_at, deviation_id`
		return tx.SelectContext(ctx, &list, q, tx.Plant)
	})
	return list, err
}

func getDeviation(ctx context.Context, tx *pg.Tx, id DeviationID, lock string) (Deviation, error) {
	var d Deviation
	err := tx.GetContext(ctx, &d, `select `+deviationColumns+` from deviation where plant_id = $1 and deviation_id = $2 `+lock, tx.Plant, id)
	if errors.Is(err, sql.ErrNoRows) {
		return d, fault.New(fault.NotFound, "unknown-deviation", "there is no deviation %d", id)
	}
	return d, err
}

// lockDeviation takes the deviation's row: commands on one deviation are done
// one after the other.
func lockDeviation(ctx context.Context, tx *pg.Tx, id DeviationID) (Deviation, error) {
	return getDeviation(ctx, tx, id, "for update")
}

func deviationsOf(ctx context.Context, tx *pg.Tx, id instrument.ID) ([]Deviation, error) {
	var list []Deviation
	const q = `select ` + deviationColumns + ` from deviation where plant_id = $1 and instrument_id = $2
		order by failed_at, deviation_id for update`
	return list, tx.SelectContext(ctx, &list, q, tx.Plant, id)
}

// insertDeviation opens a deviation, detected, and takes the instrument out of
// trust.
func insertDeviation(ctx context.Context, tx *pg.Tx, in instrument.Stored, o opening, policyVersion int) (Deviation, error) {
	var checkID, eventID, overdueID *int64
	switch {
	case o.check != nil:
		checkID = &o.check.ID
	case o.event != nil:
		eventID = &o.event.ID
	default:
		overdueID = &o.overdue.ID
	}
	var d Deviation
	const add = `insert into deviation (plant_id, instrument_id, check_id, event_id, overdue_id, state, failed_at, opened_at,
		retrace_due, evidence_count, policy_version) values ($1, $2, $3, $4, $5, $6, $7, $8, $8, 1, $9) returning ` + deviationColumns
	err := tx.GetContext(ctx, &d, add, tx.Plant, in.ID, checkID, eventID, overdueID, Detected, time.UnixMicro(o.at()).UTC(), tx.Now, policyVersion)
	if err != nil {
		return d, fmt.Errorf("open deviation of %s: %w", in.Code, err)
	}
	const suspend = `update instrument set state = 'suspended', version = version + 1
		where plant_id = $1 and instrument_id = $2 and state = 'in_use'`
	if _, err := tx.ExecContext(ctx, suspend, tx.Plant, in.ID); err != nil {
		return d, err
	}
	if err := recurred(ctx, tx, d); err != nil {
		return d, err
	}
	return d, trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "deviation.opened", Subject: in.Code,
		Version: d.Version, HappenedAt: d.FailedAt, After: map[string]any{"state": d.State, "policy_version": policyVersion}})
}

// putWindow stores the suspect window as containment sees it.
func putWindow(ctx context.Context, tx *pg.Tx, d Deviation, after, until int64) error {
	const put = `insert into deviation_window (plant_id, deviation_id, instrument_id, span)
		values ($1, $2, $3, tstzrange($4, $5, '(]'))
		on conflict (plant_id, deviation_id) do update set span = excluded.span`
	_, err := tx.ExecContext(ctx, put, tx.Plant, d.ID, d.Instrument, moment(after), moment(until))
	return err
}

// moment returns a time of the window, nil where nothing bounds it.
func moment(at int64) *time.Time {
	if at == math.MinInt64 || at == math.MaxInt64 {
		return nil
	}
	t := time.UnixMicro(at).UTC()
	return &t
}

func stale(d Deviation, seen int) error {
	return fault.New(fault.Stale, "precondition-failed", "deviation %d has changed since version %d", d.ID, seen)
}
