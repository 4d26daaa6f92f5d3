package workflow

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/hold"
	"lastgood/workflow/pg"
)

// Report is what there is to know of a deviation: its last run, what is held,
// and what has gone.
type Report struct {
	Deviation Deviation
	Run       Run
	Holds     []hold.Hold
	Shipped   []Shipped
	// CascadePending is the cascade that waits to be confirmed and that the
	// instrument is the head of or a part of; nil: none.
	CascadePending *CascadeID
}

// Shipped is product in doubt that has left.
type Shipped struct {
	Lot       string    `db:"lot"`
	BecauseOf string    `db:"because_of"`
	Shipment  string    `db:"shipment"`
	Consignee string    `db:"consignee"`
	Quantity  *string   `db:"quantity"`
	Unit      *string   `db:"quantity_unit"`
	ShippedAt time.Time `db:"shipped_at"`
}

// Report returns what there is to know of a deviation. Until it is traced, its
// run has number 0 and says only what is known of the instrument.
func (s *Service) Report(ctx context.Context, sc pg.Scope, id DeviationID) (Report, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (Report, error) { return report(ctx, tx, id) })
}

func report(ctx context.Context, tx *pg.Tx, id DeviationID) (r Report, err error) {
	if r.Deviation, err = getDeviation(ctx, tx, id, ""); err != nil {
		return r, err
	}
	if r.Run, err = lastRun(ctx, tx, r.Deviation); err != nil {
		return r, err
	}
	if r.Holds, err = hold.Of(ctx, tx, int64(id)); err != nil {
		return r, err
	}
	if r.Shipped, err = shippedOf(ctx, tx, id); err != nil {
		return r, err
	}
	err = tx.GetContext(ctx, &r.CascadePending, `select `+cascadePending+` from deviation d where d.plant_id = $1 and d.deviation_id = $2`, tx.Plant, id)
	return r, err
}

func lastRun(ctx context.Context, tx *pg.Tx, d Deviation) (run Run, err error) {
	var body []byte
	const last = `select body from trace_run where plant_id = $1 and deviation_id = $2 order by run_number desc limit 1`
	switch err := tx.GetContext(ctx, &body, last, tx.Plant, d.ID); {
	case errors.Is(err, sql.ErrNoRows):
		return untraced(ctx, tx, d)
	case err != nil:
		return run, err
	}
	if err := json.Unmarshal(body, &run); err != nil {
		return run, fmt.Errorf("run of deviation %d: %w", d.ID, err)
	}
	return run, nil
}

// untraced says what is known of the instrument before any trace.
func untraced(ctx context.Context, tx *pg.Tx, d Deviation) (run Run, err error) {
	e := &evidence{deviation: d, digest: newDigester()}
	if e.policy, err = currentPolicy(ctx, tx); err != nil {
		return run, err
	}
	if err := e.loadError(ctx, tx); err != nil {
		return run, err
	}
	e.describe(&run)
	return run, nil
}

// shippedOf returns what has gone of every lot in doubt.
func shippedOf(ctx context.Context, tx *pg.Tx, id DeviationID) ([]Shipped, error) {
	const q = `select l.code as lot, b.code as because_of, s.shipment, s.consignee, cast(s.quantity as text) as quantity,
		s.quantity_unit, s.shipped_at
		from deviation_lot d join shipment s using (plant_id, lot_id) join lot l using (plant_id, lot_id)
		join lot b on b.plant_id = d.plant_id and b.lot_id = d.because_of_lot_id
		where d.plant_id = $1 and d.deviation_id = $2 order by l.code, s.shipped_at, s.shipment`
	list := []Shipped{}
	err := tx.SelectContext(ctx, &list, q, tx.Plant, id)
	return list, err
}
