package hold

import (
	"context"

	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// OnLot returns the standing holds on the portions of a lot.
func OnLot(ctx context.Context, tx *pg.Tx, id lot.ID) ([]Hold, error) {
	list := []Hold{}
	err := tx.SelectContext(ctx, &list, columns+`p.lot_id = $2 order by h.hold_id`, tx.Plant, id)
	return list, err
}
