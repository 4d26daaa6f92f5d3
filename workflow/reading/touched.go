package reading

import (
	"context"
	"fmt"
	"slices"
	"time"

	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// touched returns what is new in a chunk, by instrument. rows are sorted by
// instrument and time; stored are the indexes of those that were there before;
// serves are the limits served as they were.
func touched(rows []row, stored []int, list []Reading, serves map[served]bool) []Touched {
	old := make(map[int]bool, len(stored))
	for _, i := range stored {
		old[i] = true
	}
	var out []Touched
	asked := int32(0) // the context of the row before, if of the same instrument
	for i := range rows {
		r := &rows[i]
		if len(old) > 0 && old[r.index] {
			continue
		}
		at := time.UnixMicro(r.at).UTC()
		if n := len(out); n == 0 || out[n-1].Instrument != r.instrument {
			out = append(out, Touched{Instrument: r.instrument, First: at, Lots: []lot.ID{}})
			asked = 0
		}
		t := &out[len(out)-1]
		t.Last = at
		t.Placed = t.Placed || r.lot == 0
		if r.context != asked { // one context, one limit
			t.ServesMore = t.ServesMore || !serves[served{r.instrument, list[r.index].Limit}]
			asked = r.context
		}
		if n := len(t.Lots); r.lot != 0 && (n == 0 || t.Lots[n-1] != r.lot) {
			t.Lots = append(t.Lots, r.lot)
		}
	}
	for i := range out {
		slices.Sort(out[i].Lots)
		out[i].Lots = slices.Compact(out[i].Lots)
	}
	return out
}

// served says that an instrument has read for a limit.
type served struct {
	Instrument instrument.ID `db:"instrument_id"`
	Limit      string        `db:"limit_name"`
}

func limitsServed(ctx context.Context, tx *pg.Tx) (map[served]bool, error) {
	var rows []served
	err := tx.SelectContext(ctx, &rows, `select instrument_id, limit_name from limit_span where plant_id = $1`, tx.Plant)
	if err != nil {
		return nil, fmt.Errorf("limits served: %w", err)
	}
	m := make(map[served]bool, len(rows))
	for _, r := range rows {
		m[r] = true
	}
	return m, nil
}
