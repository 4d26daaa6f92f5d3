package workflow

import (
	"bytes"
	"context"
	"fmt"
	"iter"
	"time"

	"lastgood/workflow/pg"
)

// Export is everything that a trace says of a deviation, to be handed out as it
// stands: what Report says, with the lots, how they hang together, and the
// readings that the verdicts rest on.
type Export struct {
	Report
	Plant    string
	Zone     *time.Location
	MadeAt   time.Time
	Lots     []ExportLot
	Edges    []ExportEdge
	evidence *evidence // nil: the readings were not asked for
}

// ExportLot is a lot in doubt. Nil and empty mean unknown.
type ExportLot struct {
	Lot       string     `db:"lot"`
	Product   *string    `db:"product"`
	MadeAt    *time.Time `db:"made_at"`
	Quantity  *string    `db:"quantity"`
	Unit      *string    `db:"quantity_unit"`
	BecauseOf string     `db:"because_of"`
}

// ExportEdge is one pair of a transformation that a lot in doubt went into or
// came out of. The other lot need not be in doubt: rework takes in good product
// too, and the quantities only add up with it.
type ExportEdge struct {
	Event         string    `db:"event"`
	At            time.Time `db:"at"`
	Input         string    `db:"input_lot"`
	InputInDoubt  bool      `db:"input_in_doubt"`
	InputQuantity *string   `db:"input_quantity"`
	Output        string    `db:"output_lot"`
	OutputInDoubt bool      `db:"output_in_doubt"`
	OutQuantity   *string   `db:"output_quantity"`
	Unit          *string   `db:"quantity_unit"`
}

// ExportReading is a reading of the instrument in doubt, under one limit that it
// vouched for.
type ExportReading struct {
	Lot      string
	Limit    string
	Via      string
	Location string // where the lot stayed, if the reading does not name it
	LimitIn  string // the scale of the limit; empty: none was in force
	BasisReading
}

// Export returns what a trace says of a deviation. The readings are read only if
// they are asked for; then they are in memory, as a trace has them, and reading
// them out holds no transaction open.
func (s *Service) Export(ctx context.Context, sc pg.Scope, id DeviationID, readings bool) (Export, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (Export, error) { return export(ctx, tx, id, readings) })
}

func export(ctx context.Context, tx *pg.Tx, id DeviationID, readings bool) (x Export, err error) {
	if x.Report, err = report(ctx, tx, id); err != nil {
		return x, err
	}
	x.MadeAt = tx.Now
	if err := tx.GetContext(ctx, &x.Plant, `select name from plant where plant_id = $1`, tx.Plant); err != nil {
		return x, fmt.Errorf("plant: %w", err)
	}
	if x.Zone, err = zoneOf(ctx, tx); err != nil {
		return x, err
	}
	if err := x.genealogy(ctx, tx); err != nil {
		return x, fmt.Errorf("export of deviation %d: %w", id, err)
	}
	if readings {
		x.evidence, err = gather(ctx, tx, id)
	}
	return x, err
}

// SameEvidence says whether the readings are those that the last run saw. If
// not, something arrived since and the deviation is due for another run.
func (x Export) SameEvidence() bool {
	return x.evidence != nil && bytes.Equal(x.Run.InputDigest, x.evidence.digest.sum())
}

func (x *Export) genealogy(ctx context.Context, tx *pg.Tx) error {
	const lots = `select l.code as lot, p.code as product, l.made_at, cast(l.quantity as text) as quantity, l.quantity_unit, b.code as because_of
		from deviation_lot d join lot l using (plant_id, lot_id) left join product p using (plant_id, product_id)
		join lot b on b.plant_id = d.plant_id and b.lot_id = d.because_of_lot_id
		where d.plant_id = $1 and d.deviation_id = $2 order by l.code`
	const edges = `
with d as (select lot_id from deviation_lot where plant_id = $1 and deviation_id = $2),
t as (
  select t.* from transformation t join d on t.input_lot_id = d.lot_id where t.plant_id = $1
  union select t.* from transformation t join d on t.output_lot_id = d.lot_id where t.plant_id = $1)
select t.event, t.at, i.code as input_lot, t.input_lot_id in (select lot_id from d) as input_in_doubt,
  cast(t.input_quantity as text) as input_quantity, o.code as output_lot, t.output_lot_id in (select lot_id from d) as output_in_doubt,
  cast(t.output_quantity as text) as output_quantity, t.quantity_unit
from t join lot i on i.plant_id = t.plant_id and i.lot_id = t.input_lot_id
join lot o on o.plant_id = t.plant_id and o.lot_id = t.output_lot_id order by t.at, t.event, i.code, o.code`
	if err := tx.SelectContext(ctx, &x.Lots, lots, tx.Plant, x.Deviation.ID); err != nil {
		return err
	}
	return tx.SelectContext(ctx, &x.Edges, edges, tx.Plant, x.Deviation.ID)
}

// Readings returns the readings in doubt with those around them that their lots
// were judged by, in order of lot, limit and time. A lot that stayed in two
// places has those of both.
func (x Export) Readings() iter.Seq2[ExportReading, error] {
	return func(yield func(ExportReading, error) bool) {
		if x.evidence == nil {
			return
		}
		for _, it := range x.evidence.doubted() {
			list, scale, err := x.evidence.readOut(it)
			if err != nil {
				yield(ExportReading{}, err)
				return
			}
			r := ExportReading{Lot: x.evidence.lots[it.lot].Code, Limit: it.limit, Via: it.via, LimitIn: scale}
			if it.location != 0 {
				r.Location = x.evidence.places[it.location]
			}
			for _, r.BasisReading = range list {
				if !yield(r, nil) {
					return
				}
			}
		}
	}
}

// readOut returns the readings of an item and the scale of its limit. Where no
// limit was in force there is nothing to correct them for.
func (e *evidence) readOut(it item) ([]BasisReading, string, error) {
	l, ok := e.policy.InForce(it.limit, e.producedAt(it))
	if !ok {
		return it.unjudged(), "", nil
	}
	list, err := e.paths(it)
	return list, l.Criterion.Scale().String(), err
}
