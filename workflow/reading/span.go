package reading

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"github.com/lib/pq"

	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// span is when an instrument first and last vouched for something: a lot, a
// location or a limit.
type span[K cmp.Ordered] struct {
	of          K
	instrument  instrument.ID
	first, last int64 // µs
}

// spans gathers spans in order of instrument and time: one a run of readings.
type spans[K cmp.Ordered] []span[K]

func (s *spans[K]) add(of K, in instrument.ID, at int64) {
	if n := len(*s); n > 0 && (*s)[n-1].of == of && (*s)[n-1].instrument == in {
		(*s)[n-1].last = at
		return
	}
	*s = append(*s, span[K]{of, in, at, at})
}

// merged returns one span for each thing and instrument, in the order in which
// everyone writes them, so that two writers cannot deadlock.
func (s spans[K]) merged() spans[K] {
	slices.SortFunc(s, func(a, b span[K]) int {
		return cmp.Or(cmp.Compare(a.of, b.of), cmp.Compare(a.instrument, b.instrument))
	})
	out := s[:0]
	for _, x := range s {
		if n := len(out); n > 0 && out[n-1].of == x.of && out[n-1].instrument == x.instrument {
			out[n-1].first, out[n-1].last = min(out[n-1].first, x.first), max(out[n-1].last, x.last)
			continue
		}
		out = append(out, x)
	}
	return out
}

// widen stores the spans. Arrays cost the server a third of what rows of JSON
// do, and this is done for every instrument of every chunk.
func (s spans[K]) widen(ctx context.Context, tx *pg.Tx, table, column, kind string) error {
	if len(s) == 0 {
		return nil
	}
	s = s.merged()
	var d dateText
	keys, ins := make([]K, len(s)), make([]int64, len(s))
	first, last := []byte{'{'}, []byte{'{'}
	for i, x := range s {
		keys[i], ins[i] = x.of, int64(x.instrument)
		first = append(d.appendTime(first, x.first), ',')
		last = append(d.appendTime(last, x.last), ',')
	}
	first[len(first)-1], last[len(last)-1] = '}', '}'
	q := fmt.Sprintf(`
insert into %[1]s as t (plant_id, %[2]s, instrument_id, first_at, last_at)
select $1, r.* from unnest($2::%[3]s[], $3::int[], $4::timestamptz[], $5::timestamptz[]) as r
on conflict (plant_id, %[2]s, instrument_id) do update
  set first_at = least(t.first_at, excluded.first_at), last_at = greatest(t.last_at, excluded.last_at)
  where excluded.first_at < t.first_at or excluded.last_at > t.last_at`, table, column, kind)
	if _, err := tx.ExecContext(ctx, q, tx.Plant, pq.Array(keys), pq.Array(ins), string(first), string(last)); err != nil {
		return fmt.Errorf("%s: %w", table, err)
	}
	return nil
}

// widenSpans keeps when each instrument first and last vouched for a lot, for a
// location and for a limit.
func widenSpans(ctx context.Context, tx *pg.Tx, rows []row, list []Reading) error {
	var lots spans[int64]
	var places spans[int32]
	var limits spans[string]
	limit, context := "", int32(0)
	for i := range rows {
		r := &rows[i]
		if r.lot != 0 {
			lots.add(int64(r.lot), r.instrument, r.at)
		} else if r.location != 0 {
			places.add(r.location, r.instrument, r.at)
		}
		if r.context != context { // one context, one limit
			limit, context = list[r.index].Limit, r.context
		}
		limits.add(limit, r.instrument, r.at)
	}
	if err := lots.widen(ctx, tx, "lot_span", "lot_id", "bigint"); err != nil {
		return err
	}
	if err := places.widen(ctx, tx, "location_span", "location_id", "int"); err != nil {
		return err
	}
	return limits.widen(ctx, tx, "limit_span", "limit_name", "text")
}
