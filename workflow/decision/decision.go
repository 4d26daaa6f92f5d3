// Package decision owns what becomes of product in doubt: the dispositions that
// were proposed for portions, the evidence they rest on, and what was carried
// out. Who signs for them stands in signoff.
package decision

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// ID is the database's number of a disposition, within its plant.
type ID int64

// State is where a disposition stands. Whether it is signed is for its record to
// say, since that can change with the evidence.
type State string

// The states.
const (
	Proposed  State = "proposed"
	Executed  State = "executed"
	Withdrawn State = "withdrawn" // by a person or because it is not allowed any more; never carried out
	Overtaken State = "overtaken" // carried out, and not allowed by what is known now
)

// Decision is what is to become of a portion.
type Decision struct {
	ID        ID                      `db:"disposition_id"`
	Deviation int64                   `db:"deviation_id"`
	Portion   lot.PortionID           `db:"portion_id"`
	Kind      disposition.Disposition `db:"kind"`
	State     State                   `db:"state"`
	Reason    string                  `db:"reason"`
	Receiver  string                  `db:"receiver"` // of what is diverted, with the use
	IntoLot   string                  `db:"into_lot"` // of what is reworked
	Because   string                  `db:"because"`  // why that lot leaves no doubt untraced; empty: it is in doubt too
	At        time.Time               `db:"proposed_at"`
	By        string                  `db:"proposed_by"`
	Ended     string                  `db:"ended_because"`
	Version   int                     `db:"version"`
}

// Standing says whether it counts.
func (d Decision) Standing() bool { return d.State == Proposed || d.State == Executed }

const columns = `select disposition_id, deviation_id, portion_id, kind, state, reason, receiver, into_lot, because, proposed_at, proposed_by,
	ended_because, version from disposition where plant_id = $1 and `

// Of returns every disposition of a deviation, in the order of proposing.
func Of(ctx context.Context, tx *pg.Tx, deviation int64) ([]Decision, error) {
	var list []Decision
	if err := tx.SelectContext(ctx, &list, columns+`deviation_id = $2 order by disposition_id`, tx.Plant, deviation); err != nil {
		return nil, fmt.Errorf("dispositions: %w", err)
	}
	return list, nil
}

// Get returns one. fault.NotFound: there is none.
func Get(ctx context.Context, tx *pg.Tx, id ID) (d Decision, err error) {
	err = tx.GetContext(ctx, &d, columns+`disposition_id = $2`, tx.Plant, id)
	if errors.Is(err, sql.ErrNoRows) {
		return d, fault.New(fault.NotFound, "unknown-disposition", "there is no disposition %d", id)
	}
	return d, err
}

// Add stores a proposal and returns it.
func Add(ctx context.Context, tx *pg.Tx, d Decision) (Decision, error) {
	const add = `insert into disposition (plant_id, deviation_id, portion_id, kind, state, reason, receiver, into_lot, because, proposed_at, proposed_by)
		values ($1, $2, $3, $4, 'proposed', $5, $6, $7, $8, $9, $10) returning disposition_id`
	d.State, d.At, d.By, d.Version = Proposed, tx.Now, tx.By.ID, 1
	err := tx.GetContext(ctx, &d.ID, add, tx.Plant, d.Deviation, d.Portion, d.Kind, d.Reason, d.Receiver, d.IntoLot, d.Because, d.At, d.By)
	if err != nil {
		return d, fmt.Errorf("disposition: %w", err)
	}
	return d, nil
}

// Move says what has become of a disposition, and why.
func Move(ctx context.Context, tx *pg.Tx, id ID, to State, why string) error {
	const q = `update disposition set state = $3, ended_because = $4, version = version + 1 where plant_id = $1 and disposition_id = $2`
	if _, err := tx.ExecContext(ctx, q, tx.Plant, id, to, why); err != nil {
		return fmt.Errorf("disposition %d: %w", id, err)
	}
	return nil
}

// Done is one report of what was carried out.
type Done struct {
	ID          int64     `db:"execution_id"`
	Disposition ID        `db:"disposition_id"`
	Fate        string    `db:"fate"`
	Amount      string    `db:"quantity"`
	Unit        string    `db:"quantity_unit"`
	At          time.Time `db:"at"`
	Place       string    `db:"place"`
	Tag         string    `db:"tag"`
	Reason      string    `db:"reason"`
	ReportedAt  time.Time `db:"reported_at"`
	By          string    `db:"reported_by"`
}

// Quantity returns how much.
func (d Done) Quantity() unit.Quantity { return unit.Quantity{Amount: d.Amount, Unit: d.Unit} }

const doneColumns = `select e.execution_id, e.disposition_id, e.fate, cast(e.quantity as text) as quantity, e.quantity_unit, e.at, e.place, e.tag, e.reason,
	e.reported_at, e.reported_by from execution e join disposition d using (plant_id, disposition_id) where e.plant_id = $1 and `

// DoneOf returns every report of a deviation, in the order of reporting.
func DoneOf(ctx context.Context, tx *pg.Tx, deviation int64) ([]Done, error) {
	var list []Done
	if err := tx.SelectContext(ctx, &list, doneColumns+`d.deviation_id = $2 order by e.execution_id`, tx.Plant, deviation); err != nil {
		return nil, fmt.Errorf("executions: %w", err)
	}
	return list, nil
}

// Report stores what was carried out and returns its number.
func Report(ctx context.Context, tx *pg.Tx, d Done) (id int64, err error) {
	const add = `insert into execution (plant_id, disposition_id, fate, quantity, quantity_unit, at, place, tag, reason, reported_at, reported_by)
		values ($1, $2, $3, cast($4 as numeric), $5, $6, $7, $8, $9, $10, $11) returning execution_id`
	err = tx.GetContext(ctx, &id, add, tx.Plant, d.Disposition, d.Fate, d.Amount, d.Unit, d.At, d.Place, d.Tag, d.Reason, tx.Now, tx.By.ID)
	if err != nil {
		return 0, fmt.Errorf("execution: %w", err)
	}
	return id, nil
}
