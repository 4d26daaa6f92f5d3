package lot

import (
	"context"
	"fmt"

	"github.com/lib/pq"

	"lastgood/workflow/pg"
)

// MadeOf returns, for each of the lots, every lot that taints it at any depth:
// what it was made of, and what it was mixed with in a vessel.
func MadeOf(ctx context.Context, tx *pg.Tx, ids []ID) (map[ID][]ID, error) {
	const q = `
with recursive up(start, lot_id) as (
  select a.lot_id, a.lot_id from unnest($2::bigint[]) as a(lot_id)
  union
  select u.start, t.lot_id from up u cross join lateral ` + TaintersSQL + ` t)
select start, lot_id from up where start <> lot_id order by start, lot_id`
	var rows []struct {
		Start ID `db:"start"`
		Lot   ID `db:"lot_id"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("what lots were made of: %w", err)
	}
	m := map[ID][]ID{}
	for _, r := range rows {
		m[r.Start] = append(m[r.Start], r.Lot)
	}
	return m, nil
}
