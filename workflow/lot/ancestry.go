package lot

import (
	"context"
	"fmt"

	"github.com/lib/pq"

	"lastgood/workflow/pg"
)

// MadeOf returns, for each of the lots, every lot that it was made of, at any
// depth.
func MadeOf(ctx context.Context, tx *pg.Tx, ids []ID) (map[ID][]ID, error) {
	const q = `
with recursive up(start, lot_id) as (
  select a.lot_id, t.input_lot_id from unnest($2::bigint[]) as a(lot_id)
  join transformation t on t.plant_id = $1 and t.output_lot_id = a.lot_id
  union
  select u.start, t.input_lot_id from up u join transformation t on t.plant_id = $1 and t.output_lot_id = u.lot_id)
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
