package retest

import (
	"context"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/pg"
)

// Sample is one that was drawn.
type Sample struct {
	Retest ID        `db:"retest_id"`
	Name   string    `db:"sample"` // its number, the plant's own
	At     time.Time `db:"drawn_at"`
	By     string    `db:"drawn_by"`
	From   string    `db:"drawn_from"` // the pallet, the place in it
}

// Samples returns what was drawn for re-tests, by number.
func Samples(ctx context.Context, tx *pg.Tx, ids ...ID) ([]Sample, error) {
	var list []Sample
	const q = `select retest_id, sample, drawn_at, drawn_by, drawn_from from retest_sample where plant_id = $1 and retest_id = any($2) order by sample`
	if err := tx.SelectContext(ctx, &list, q, tx.Plant, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("samples: %w", err)
	}
	return list, nil
}

// Drawn returns which of some numbers belong to samples of the plant already.
func Drawn(ctx context.Context, tx *pg.Tx, names []string) (list []string, err error) {
	const q = `select sample from retest_sample where plant_id = $1 and sample = any($2)`
	return list, tx.SelectContext(ctx, &list, q, tx.Plant, pq.Array(names))
}

// AddSample stores one.
func AddSample(ctx context.Context, tx *pg.Tx, s Sample) error {
	const add = `insert into retest_sample (plant_id, retest_id, sample, drawn_at, drawn_by, drawn_from, recorded_at, recorded_by)
		values ($1, $2, $3, $4, $5, $6, $7, $8)`
	if _, err := tx.ExecContext(ctx, add, tx.Plant, s.Retest, s.Name, s.At, s.By, s.From, tx.Now, tx.By.ID); err != nil {
		return fmt.Errorf("sample %s: %w", s.Name, err)
	}
	return nil
}

// Custody is one step of who had the samples.
type Custody struct {
	Retest    ID        `db:"retest_id"`
	Kind      string    `db:"kind"` // handed_over or, by the laboratory, received
	At        time.Time `db:"at"`
	Who       string    `db:"who"`       // has them from then on
	Reference string    `db:"reference"` // the laboratory's own; empty on the way
	Condition string    `db:"condition"` // temperature, seals, packing
	By        string    `db:"recorded_by"`
}

// The kinds of a step of custody.
const (
	HandedOver = "handed_over"
	Received   = "received"
)

// Chain returns the custody of the samples of re-tests, in order of time.
func Chain(ctx context.Context, tx *pg.Tx, ids ...ID) ([]Custody, error) {
	var list []Custody
	const q = `select retest_id, kind, at, who, reference, condition, recorded_by from retest_custody
		where plant_id = $1 and retest_id = any($2) order by at, custody_id`
	if err := tx.SelectContext(ctx, &list, q, tx.Plant, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("custody: %w", err)
	}
	return list, nil
}

// AddCustody stores one step.
func AddCustody(ctx context.Context, tx *pg.Tx, c Custody) error {
	const add = `insert into retest_custody (plant_id, retest_id, kind, at, who, reference, condition, recorded_at, recorded_by)
		values ($1, $2, $3, $4, $5, $6, $7, $8, $9)`
	if _, err := tx.ExecContext(ctx, add, tx.Plant, c.Retest, c.Kind, c.At, c.Who, c.Reference, c.Condition, tx.Now, tx.By.ID); err != nil {
		return fmt.Errorf("custody: %w", err)
	}
	return nil
}
