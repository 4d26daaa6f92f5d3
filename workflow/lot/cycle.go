package lot

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/pg"
)

// closing is a row that would close a cycle with the rows before it or with what
// is recorded already.
type closing struct {
	index int
	way   []string // input, output, … and input again
	lots  []ID     // of the cycle, all ways together
}

// cycles returns the rows of a list that would close cycles. The rows that skip
// names are looked at no more.
func cycles(ctx context.Context, tx *pg.Tx, list []Transformation, ids map[string]ID, skip map[int]bool) ([]closing, error) {
	starts := make([]ID, 0, len(ids))
	for _, id := range ids {
		starts = append(starts, id)
	}
	edges := map[ID][]ID{}
	if err := walk(ctx, tx, made, starts, func(from, to ID) { edges[from] = append(edges[from], to) }); err != nil {
		return nil, fmt.Errorf("genealogy: %w", err)
	}
	codes, err := Codes(ctx, tx, edges)
	if err != nil {
		return nil, err
	}
	var out []closing
	for i, t := range list {
		if skip[i] {
			continue
		}
		in, to := ids[t.Input], ids[t.Output]
		codes[in], codes[to] = t.Input, t.Output
		way := path(edges, to, in)
		if way == nil {
			edges[in] = append(edges[in], to)
			continue
		}
		c := closing{index: i, way: []string{t.Input}, lots: onTheWay(edges, to, in)}
		for _, id := range way {
			c.way = append(c.way, codes[id])
		}
		out = append(out, c)
	}
	return out, nil
}

func (c closing) words() string {
	return "a lot would be made of itself: " + strings.Join(c.way, " → ")
}

// path returns the lots from one to another along edges, nil if there is no
// way.
func path(edges map[ID][]ID, from, to ID) []ID {
	came := reached(edges, from)
	if _, there := came[to]; !there {
		return nil
	}
	way := []ID{to}
	for to != from {
		to = came[to]
		way = append(way, to)
	}
	slices.Reverse(way)
	return way
}

// reached returns what can be reached along edges, with the lot before each on a
// shortest way.
func reached(edges map[ID][]ID, from ID) map[ID]ID {
	came := map[ID]ID{from: from}
	queue := []ID{from}
	for len(queue) > 0 {
		at := queue[0]
		queue = queue[1:]
		for _, next := range edges[at] {
			if _, seen := came[next]; !seen {
				came[next] = at
				queue = append(queue, next)
			}
		}
	}
	return came
}

// onTheWay returns every lot on any way from one to another, in order of number.
func onTheWay(edges map[ID][]ID, from, to ID) (lots []ID) {
	back := map[ID][]ID{}
	for a, list := range edges {
		for _, b := range list {
			back[b] = append(back[b], a)
		}
	}
	before := reached(back, to)
	for id := range reached(edges, from) {
		if _, there := before[id]; there {
			lots = append(lots, id)
		}
	}
	slices.Sort(lots)
	return lots
}

// Edges returns, of each lot that can be reached from the given ones, which lots
// it taints: what was made of it, and what it was mixed with. There may be cycles.
func Edges(ctx context.Context, tx *pg.Tx, lots []ID) (map[ID][]ID, error) {
	edges := map[ID][]ID{}
	err := walk(ctx, tx, tainted, lots, func(from, to ID) { edges[from] = append(edges[from], to) })
	if err != nil {
		return nil, fmt.Errorf("genealogy: %w", err)
	}
	return edges, nil
}

// Used returns when product of each of the lots first went into another, or
// first stood in a vessel with it or before it [µs].
func Used(ctx context.Context, tx *pg.Tx, lots []ID) (map[[2]ID]int64, error) {
	var rows []struct {
		From ID        `db:"input_lot_id"`
		To   ID        `db:"output_lot_id"`
		At   time.Time `db:"at"`
	}
	const q = `select input_lot_id, output_lot_id, min(at) as at from (
		select t.input_lot_id, t.output_lot_id, t.at from transformation t where t.plant_id = $1 and t.input_lot_id = any($2)
		union all
		select a.lot_id, b.lot_id, greatest(a.stayed_from, b.stayed_from) from stay a ` + mixed + `
			where a.plant_id = $1 and a.lot_id = any($2)
		union all
		select q.input_lot_id, q.output_lot_id, q.at from transformation_quarantine q
			where q.plant_id = $1 and q.input_lot_id = any($2) and ` + standing + `) e group by 1, 2`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, pq.Array(lots)); err != nil {
		return nil, fmt.Errorf("use of lots: %w", err)
	}
	used := make(map[[2]ID]int64, len(rows))
	for _, r := range rows {
		used[[2]ID{r.From, r.To}] = r.At.UnixMicro()
	}
	return used, nil
}
