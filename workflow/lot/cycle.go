package lot

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// refuseCycles refuses each row that closes a cycle with the rows before it or
// with what is recorded already.
func refuseCycles(ctx context.Context, tx *pg.Tx, list []Transformation, ids map[string]ID) error {
	starts := make([]ID, 0, len(ids))
	for _, id := range ids {
		starts = append(starts, id)
	}
	edges, err := Edges(ctx, tx, starts)
	if err != nil {
		return err
	}
	codes, err := Codes(ctx, tx, edges)
	if err != nil {
		return err
	}
	var bad fault.Rows
	for i, t := range list {
		in, out := ids[t.Input], ids[t.Output]
		codes[in], codes[out] = t.Input, t.Output
		if way := path(edges, out, in); way != nil {
			names := []string{t.Input}
			for _, id := range way {
				names = append(names, codes[id])
			}
			bad.Add(i, fault.New(fault.Invalid, "cycle", "a lot would be made of itself: %s", strings.Join(names, " → ")).In("output_lot"))
			continue
		}
		edges[in] = append(edges[in], out)
	}
	return bad.Err()
}

// path returns the lots from one to another along edges, nil if there is no
// way.
func path(edges map[ID][]ID, from, to ID) []ID {
	came := map[ID]ID{from: from}
	queue := []ID{from}
	for len(queue) > 0 {
		at := queue[0]
		queue = queue[1:]
		if at == to {
			way := []ID{at}
			for at != from {
				at = came[at]
				way = append(way, at)
			}
			slices.Reverse(way)
			return way
		}
		for _, next := range edges[at] {
			if _, seen := came[next]; !seen {
				came[next] = at
				queue = append(queue, next)
			}
		}
	}
	return nil
}

// Edges returns the recorded edges that can be reached from lots: of each lot, what
// was made of it.
func Edges(ctx context.Context, tx *pg.Tx, lots []ID) (map[ID][]ID, error) {
	edges := map[ID][]ID{}
	err := walk(ctx, tx, lots, func(from, to ID) { edges[from] = append(edges[from], to) })
	if err != nil {
		return nil, fmt.Errorf("genealogy: %w", err)
	}
	return edges, nil
}

// Used returns when product of each of the lots first went into another [µs].
func Used(ctx context.Context, tx *pg.Tx, lots []ID) (map[[2]ID]int64, error) {
	var rows []struct {
		From ID        `db:"input_lot_id"`
		To   ID        `db:"output_lot_id"`
		At   time.Time `db:"at"`
	}
	const q = `select input_lot_id, output_lot_id, min(at) as at from transformation
		where plant_id = $1 and input_lot_id = any($2) group by 1, 2`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, pq.Array(lots)); err != nil {
		return nil, fmt.Errorf("use of lots: %w", err)
	}
	used := make(map[[2]ID]int64, len(rows))
	for _, r := range rows {
		used[[2]ID{r.From, r.To}] = r.At.UnixMicro()
	}
	return used, nil
}
