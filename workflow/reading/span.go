package reading

import (
	"context"
	"fmt"
	"time"

	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// span is when an instrument first and last vouched for something.
type span struct {
	Lot        lot.ID    `json:"lot_id"`
	Location   int32     `json:"location_id"`
	Limit      string    `json:"limit_name"`
	Instrument int32     `json:"instrument_id"`
	First      time.Time `json:"first_at"`
	Last       time.Time `json:"last_at"`
}

// spanQuery keeps the spans of one sort: lots, locations or limits.
func spanQuery(table, column, kind string) string {
	return fmt.Sprintf(`
insert into %[1]s (plant_id, %[2]s, instrument_id, first_at, last_at)
select $1, %[2]s, instrument_id, min(first_at), max(last_at)
from json_to_recordset($2) as r(%[2]s %[3]s, instrument_id int, first_at timestamptz, last_at timestamptz)
where $3::timestamptz is not null group by 2, 3 order by 2, 3
on conflict (plant_id, %[2]s, instrument_id) do update
  set first_at = least(%[1]s.first_at, excluded.first_at), last_at = greatest(%[1]s.last_at, excluded.last_at)
  where excluded.first_at < %[1]s.first_at or excluded.last_at > %[1]s.last_at`, table, column, kind)
}

// widenSpans keeps when each instrument first and last vouched for a lot, for a
// location and for a limit: one row a run of readings.
func widenSpans(ctx context.Context, tx *pg.Tx, rows []row, list []Reading) error {
	var lots, places, limits []span
	for _, r := range rows {
		if r.lot != 0 {
			lots = extend(lots, span{Lot: r.lot, Instrument: int32(r.instrument)}, r.at)
		} else if r.location != 0 {
			places = extend(places, span{Location: r.location, Instrument: int32(r.instrument)}, r.at)
		}
		limits = extend(limits, span{Limit: list[r.index].Limit, Instrument: int32(r.instrument)}, r.at)
	}
	for _, q := range []struct {
		table, column, kind string
		runs                []span
	}{{"lot_span", "lot_id", "bigint", lots}, {"location_span", "location_id", "int", places}, {"limit_span", "limit_name", "text", limits}} {
		if len(q.runs) == 0 {
			continue
		}
		if _, err := tx.Insert(ctx, spanQuery(q.table, q.column, q.kind), q.runs); err != nil {
			return fmt.Errorf("%s: %w", q.table, err)
		}
	}
	return nil
}

func extend(runs []span, s span, at int64) []span {
	t := time.UnixMicro(at).UTC()
	if n := len(runs); n > 0 && runs[n-1].Lot == s.Lot && runs[n-1].Location == s.Location && runs[n-1].Limit == s.Limit &&
		runs[n-1].Instrument == s.Instrument {
		runs[n-1].Last = t
		return runs
	}
	s.First, s.Last = t, t
	return append(runs, s)
}
