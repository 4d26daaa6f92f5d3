// Package retest owns the re-tests of product on hold: orders, samples, who had
// them, results, and what was voided. What the results say is for the policy to
// judge; who may do what is the workflow's.
package retest

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/sampling"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// ID is the database's number of a re-test, within its plant.
type ID int64

// Terms are what was ordered.
type Terms struct {
	Analyte    string         `json:"analyte"`
	Plan       sampling.Plan  `json:"plan"`
	Reach      sampling.Reach `json:"reach"`
	Tagged     string         `json:"tagged,omitzero"` // what the result is limited to
	Units      int            `json:"units"`           // that the samples speak for; 0: unknown or many
	Confidence float64        `json:"confidence"`      // of what the outcome proves
	Laboratory string         `json:"laboratory"`
	Custody    string         `json:"custody"` // how the samples get there, and who keeps them
	Reason     string         `json:"reason"`
}

// Order returns the terms as the policy judges them.
func (t Terms) Order() sampling.Order {
	return sampling.Order{Plan: t.Plan, Reach: t.Reach, Tagged: t.Tagged, Units: t.Units, Confidence: t.Confidence}
}

// Ordered is a re-test.
type Ordered struct {
	ID        ID
	Deviation int64
	Portion   lot.PortionID
	State     string
	Terms
	At      time.Time
	By      string
	Version int
}

type row struct {
	ID        ID            `db:"retest_id"`
	Deviation int64         `db:"deviation_id"`
	Portion   lot.PortionID `db:"portion_id"`
	State     string        `db:"state"`
	Terms     []byte        `db:"terms"`
	At        time.Time     `db:"ordered_at"`
	By        string        `db:"ordered_by"`
	Version   int           `db:"version"`
}

func (r row) ordered() (Ordered, error) {
	o := Ordered{ID: r.ID, Deviation: r.Deviation, Portion: r.Portion, State: r.State, At: r.At, By: r.By, Version: r.Version}
	if err := json.Unmarshal(r.Terms, &o.Terms); err != nil {
		return o, fmt.Errorf("re-test %d: %w", r.ID, err)
	}
	return o, nil
}

const orders = `select retest_id, deviation_id, portion_id, state, terms, ordered_at, ordered_by, version from retest where plant_id = $1 and `

// Of returns the re-tests of a deviation, in the order of ordering.
func Of(ctx context.Context, tx *pg.Tx, deviation int64) ([]Ordered, error) {
	var rows []row
	if err := tx.SelectContext(ctx, &rows, orders+`deviation_id = $2 order by retest_id`, tx.Plant, deviation); err != nil {
		return nil, fmt.Errorf("re-tests: %w", err)
	}
	out := make([]Ordered, len(rows))
	for i, r := range rows {
		var err error
		if out[i], err = r.ordered(); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// Get returns one. fault.NotFound: there is none.
func Get(ctx context.Context, tx *pg.Tx, id ID) (Ordered, error) {
	var r row
	err := tx.GetContext(ctx, &r, orders+`retest_id = $2`, tx.Plant, id)
	if errors.Is(err, sql.ErrNoRows) {
		return Ordered{}, fault.New(fault.NotFound, "unknown-retest", "there is no re-test %d", id)
	}
	if err != nil {
		return Ordered{}, fmt.Errorf("re-test %d: %w", id, err)
	}
	return r.ordered()
}

// Add stores an order and returns it.
func Add(ctx context.Context, tx *pg.Tx, o Ordered) (Ordered, error) {
	terms, err := json.Marshal(o.Terms, json.Deterministic(true))
	if err != nil {
		return o, fmt.Errorf("re-test: %w", err)
	}
	o.At, o.By, o.Version = tx.Now, tx.By.ID, 1
	const add = `insert into retest (plant_id, deviation_id, portion_id, state, terms, ordered_at, ordered_by)
		values ($1, $2, $3, $4, $5, $6, $7) returning retest_id`
	if err := tx.GetContext(ctx, &o.ID, add, tx.Plant, o.Deviation, o.Portion, o.State, terms, o.At, o.By); err != nil {
		return o, fmt.Errorf("re-test: %w", err)
	}
	return o, nil
}

// Move says where a re-test stands.
func Move(ctx context.Context, tx *pg.Tx, id ID, to string) error {
	const q = `update retest set state = $3, version = version + 1 where plant_id = $1 and retest_id = $2`
	if _, err := tx.ExecContext(ctx, q, tx.Plant, id, to); err != nil {
		return fmt.Errorf("re-test %d: %w", id, err)
	}
	return nil
}
