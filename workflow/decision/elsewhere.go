package decision

import (
	"context"
	"fmt"

	"github.com/lib/pq"

	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Elsewhere returns what other deviations decided of portions and carried out
// whole, and their reports: product is in doubt by several at once, and what one of
// them did with it is done.
func Elsewhere(ctx context.Context, tx *pg.Tx, deviation int64, portions []lot.PortionID) (list []Decision, done []Done, err error) {
	ids := make([]int64, len(portions))
	for i, id := range portions {
		ids[i] = int64(id)
	}
	const which = `d.portion_id = any($3) and d.deviation_id <> $2 and d.state = 'executed'`
	const q = `select disposition_id, deviation_id, portion_id, kind, state, reason, receiver, into_lot, because, proposed_at, proposed_by,
		ended_because, version from disposition d where plant_id = $1 and ` + which + ` order by disposition_id`
	if err := tx.SelectContext(ctx, &list, q, tx.Plant, deviation, pq.Array(ids)); err != nil {
		return nil, nil, fmt.Errorf("dispositions of other deviations: %w", err)
	}
	if len(list) == 0 {
		return nil, nil, nil
	}
	if err := tx.SelectContext(ctx, &done, doneColumns+which+` order by e.execution_id`, tx.Plant, deviation, pq.Array(ids)); err != nil {
		return nil, nil, fmt.Errorf("executions of other deviations: %w", err)
	}
	return list, done, nil
}
