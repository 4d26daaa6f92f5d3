package lot

import (
	"context"
	"errors"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

var edgeSieve = pg.Sieve{
	Noun: "transformation", Key: "event",
	Columns: `input_lot_id bigint, output_lot_id bigint, event text, at timestamptz, input_quantity numeric,
		output_quantity numeric, quantity_unit text`,
	Table: `transformation t on t.input_lot_id = r.input_lot_id and t.output_lot_id = r.output_lot_id and t.event = r.event`,
	Same: []pg.Same{
		{Field: "at", If: "t.at = r.at"},
		{Field: "input_quantity", If: "t.input_quantity is not distinct from r.input_quantity"},
		{Field: "output_quantity", If: "t.output_quantity is not distinct from r.output_quantity"},
		{Field: "quantity_unit", If: "t.quantity_unit is not distinct from r.quantity_unit"},
	},
}

type edgeRow struct {
	Input  ID        `json:"input_lot_id"`
	Output ID        `json:"output_lot_id"`
	Event  string    `json:"event"`
	At     time.Time `json:"at"`
	In     *string   `json:"input_quantity"`
	Out    *string   `json:"output_quantity"`
	Unit   *string   `json:"quantity_unit"`
}

type edgeKey struct {
	input, output ID
	event         string
}

// AddTransformations records what was made of what and returns what is new of
// it. A row that would make a lot its own ancestor is no transformation: it goes
// into quarantine, and so does what was put there before and comes again. The
// caller holds the genealogy lock.
func AddTransformations(ctx context.Context, tx *pg.Tx, list []Transformation) (fresh []Transformation, aside []Quarantined, err error) {
	const add = `
insert into transformation (plant_id, input_lot_id, output_lot_id, event, at, input_quantity, output_quantity,
  quantity_unit, recorded_at)
select $1, input_lot_id, output_lot_id, event, at, input_quantity, output_quantity, quantity_unit, $3
from json_to_recordset($2) as r(input_lot_id bigint, output_lot_id bigint, event text, at timestamptz,
  input_quantity numeric, output_quantity numeric, quantity_unit text)`
	if err := pg.AllPast(tx, list, "at", func(t Transformation) time.Time { return t.At }); err != nil {
		return nil, nil, err
	}
	if err := refuseItself(list); err != nil {
		return nil, nil, err
	}
	codes := make([]string, 0, 2*len(list))
	for _, t := range list {
		codes = append(codes, t.Input, t.Output)
	}
	ids, err := Intern(ctx, tx, codes)
	if err != nil {
		return nil, nil, err
	}
	rows := make([]edgeRow, len(list))
	for i, t := range list {
		rows[i] = edgeRow{Input: ids[t.Input], Output: ids[t.Output], Event: t.Event, At: t.At}
		rows[i].Out, rows[i].Unit = split(t.OutputQuantity)
		if t.InputQuantity != nil {
			rows[i].In, rows[i].Unit = split(t.InputQuantity)
		}
	}
	aside, err = quarantineCycles(ctx, tx, list, rows, ids)
	if err != nil {
		return nil, nil, err
	}
	good, place := without(list, aside)
	kept := pg.Pick(rows, place)
	fresh, err = pg.AddFresh(ctx, tx, edgeSieve, add, good, kept, func(r edgeRow) edgeKey { return edgeKey{r.Input, r.Output, r.Event} })
	return fresh, aside, inList(err, place)
}

// refuseItself: a row that says that a lot was made of itself says nothing.
func refuseItself(list []Transformation) error {
	var bad fault.Rows
	for i, t := range list {
		if t.Input == t.Output {
			bad.Add(i, fault.New(fault.Invalid, "cycle", "a lot would be made of itself: %s → %s", t.Input, t.Output).In("output_lot"))
		}
	}
	return bad.Err()
}

// without returns the rows of a list that were not put aside, and their places in
// it.
func without(list []Transformation, aside []Quarantined) (good []Transformation, place []int) {
	gone := map[int]bool{}
	for _, q := range aside {
		gone[q.Index] = true
	}
	for i, t := range list {
		if !gone[i] {
			good, place = append(good, t), append(place, i)
		}
	}
	return good, place
}

// inList names the rows that are wrong by their places in the whole list.
func inList(err error, place []int) error {
	var bad fault.Rows
	if !errors.As(err, &bad) {
		return err
	}
	out := make(fault.Rows, len(bad))
	for i, b := range bad {
		b.Index = place[b.Index]
		out[i] = b
	}
	return out
}
