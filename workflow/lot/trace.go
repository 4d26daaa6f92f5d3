package lot

import (
	"context"
	"fmt"

	"github.com/lib/pq"

	"lastgood/workflow/pg"
)

// made is, for each lot of $2, which lots it was made into.
const made = `select t.input_lot_id, t.output_lot_id from transformation t where t.plant_id = $1 and t.input_lot_id = any($2)`

// walk visits every edge below the given lots, each once, level by level: one
// query a level, always current, nothing to invalidate. edges is the query that
// says what an edge is.
func walk(ctx context.Context, tx *pg.Tx, edges string, lots []ID, visit func(from, to ID)) error {
	level := `select distinct input_lot_id, output_lot_id from (` + edges + `) e order by 1, 2`
	type edge struct {
		From ID `db:"input_lot_id"`
		To   ID `db:"output_lot_id"`
	}
	seen := make(map[ID]bool, len(lots))
	for _, l := range lots {
		seen[l] = true
	}
	for len(lots) > 0 {
		var edges []edge
		if err := tx.SelectContext(ctx, &edges, level, tx.Plant, pq.Array(lots)); err != nil {
			return err
		}
		var next []ID
		for _, e := range edges {
			visit(e.From, e.To)
			if !seen[e.To] {
				seen[e.To] = true
				next = append(next, e.To)
			}
		}
		lots = next
	}
	return nil
}

// Descendants returns every lot that the given ones taint, however many steps
// later: what was made of them, and what was mixed with that or came into a
// vessel after it; with the lot of the given ones that it goes back to: the first
// by the order given. The given lots are in it too, going back to themselves.
func Descendants(ctx context.Context, tx *pg.Tx, lots []ID) (because map[ID]ID, order []ID, err error) {
	because = make(map[ID]ID, len(lots))
	for _, l := range lots {
		if _, dup := because[l]; !dup {
			because[l] = l
			order = append(order, l)
		}
	}
	err = walk(ctx, tx, tainted, lots, func(from, to ID) {
		if _, known := because[to]; !known {
			because[to] = because[from]
			order = append(order, to)
		}
	})
	if err != nil {
		return nil, nil, fmt.Errorf("descendants: %w", err)
	}
	return because, order, nil
}

// Codes returns the codes of all lots in a set of edges.
func Codes(ctx context.Context, tx *pg.Tx, edges map[ID][]ID) (map[ID]string, error) {
	var ids []ID
	for from, to := range edges {
		ids = append(append(ids, from), to...)
	}
	rows, err := Get(ctx, tx, ids)
	codes := make(map[ID]string, len(rows))
	for id, r := range rows {
		codes[id] = r.Code
	}
	return codes, err
}
