package reading

import (
	"context"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// Quarantined is a row that was stored and is not believed: a gap until somebody
// decides.
type Quarantined struct {
	Index  int
	Rule   string
	Detail string
}

// keyed is what tells a reading from others.
type keyed struct {
	instrument instrument.ID
	at, source int64
}

func (r row) key() keyed { return keyed{r.instrument, r.at, r.source} }

// recorded is what stands under a key.
type recorded struct {
	Instrument instrument.ID `db:"instrument_id"`
	At         time.Time     `db:"taken_at"`
	Source     int64         `db:"source_key"`
	Value      float64       `db:"value"`
	Lot        int64         `db:"lot_id"`
	Limit      string        `db:"limit_name"`
	Location   int32         `db:"location_id"`
	Unit       string        `db:"unit"`
	Verdict    string        `db:"verdict"` // of a person on a quarantined reading; empty: none yet
}

func (r recorded) key() keyed { return keyed{r.Instrument, r.At.UnixMicro(), r.Source} }

// same says whether a row says what is recorded under its key.
func (r recorded) same(o row, list []Reading) bool {
	return r.Value == o.value && r.Lot == int64(o.lot) && r.Location == o.location && r.Limit == list[o.index].Limit &&
		r.Unit == list[o.index].Unit.String()
}

const quarantinedThen = `
select q.instrument_id, q.taken_at, q.source_key, q.value, coalesce(q.lot_id, 0) as lot_id, c.limit_name, c.location_id, c.unit,
  coalesce(x.verdict, '') as verdict
from reading_quarantine q join reading_context c using (plant_id, context_id)
left join reading_resolution x using (plant_id, quarantine_id)
where q.plant_id = $1 and q.instrument_id = any($2) and q.taken_at between $3 and $4`

// quarantinedBefore returns what is in quarantine of the instruments and times of
// a chunk, which is sorted.
func quarantinedBefore(ctx context.Context, tx *pg.Tx, rows []row) (map[keyed]recorded, error) {
	if len(rows) == 0 {
		return nil, nil
	}
	var ins []int64
	first, last := rows[0].at, rows[0].at
	for i := range rows {
		if in := int64(rows[i].instrument); len(ins) == 0 || ins[len(ins)-1] != in {
			ins = append(ins, in)
		}
		first, last = min(first, rows[i].at), max(last, rows[i].at)
	}
	var list []recorded
	err := tx.SelectContext(ctx, &list, quarantinedThen, tx.Plant, pq.Array(ins), time.UnixMicro(first).UTC(), time.UnixMicro(last).UTC())
	if err != nil {
		return nil, fmt.Errorf("quarantine: %w", err)
	}
	return byKeys(list), nil
}

func byKeys(list []recorded) map[keyed]recorded {
	m := make(map[keyed]recorded, len(list))
	for _, r := range list {
		m[r.key()] = r
	}
	return m
}

const readThen = `
select r.instrument_id, r.taken_at, r.source_key, r.value, coalesce(r.lot_id, 0) as lot_id, c.limit_name, c.location_id, c.unit, '' as verdict
from unnest($2::int[], $3::timestamptz[], $4::bigint[]) as k(instrument_id, taken_at, source_key)
join reading r using (instrument_id, taken_at, source_key)
join reading_context c on c.plant_id = r.plant_id and c.context_id = r.context_id
where r.plant_id = $1`

// readAlready returns which of some rows are readings already.
func readAlready(ctx context.Context, tx *pg.Tx, rows []row) (map[keyed]recorded, error) {
	ins, times, sources := make([]int64, len(rows)), make([]time.Time, len(rows)), make([]int64, len(rows))
	for i, r := range rows {
		ins[i], times[i], sources[i] = int64(r.instrument), time.UnixMicro(r.at).UTC(), r.source
	}
	var list []recorded
	if err := tx.SelectContext(ctx, &list, readThen, tx.Plant, pq.Array(ins), pq.Array(times), pq.Array(sources)); err != nil {
		return nil, fmt.Errorf("quarantine: %w", err)
	}
	return byKeys(list), nil
}

// sifted is a chunk parted into what is taken for readings, what goes into
// quarantine, and what is there already. All three are sorted.
type sifted struct {
	good, odd []row
	dups      []int
}

// sift parts a sorted chunk. What stands under a key already is a duplicate or a
// conflict, wherever it stands; a reading that a person rejected makes room for
// what should have been sent in its place.
func sift(ctx context.Context, tx *pg.Tx, rows []row, list []Reading, why map[int]*Implausible) (s sifted, err error) {
	before, err := quarantinedBefore(ctx, tx, rows)
	if err != nil {
		return s, err
	}
	if len(before)+len(why) == 0 { // as nearly always
		return sifted{good: rows}, nil
	}
	for _, r := range rows {
		if why[r.index] != nil {
			s.odd = append(s.odd, r)
		}
	}
	read, err := readAlready(ctx, tx, s.odd)
	if err != nil {
		return s, err
	}
	s.odd = nil
	var bad fault.Rows
	for _, r := range rows {
		odd := why[r.index] != nil
		had, there := before[r.key()]
		if there && had.Verdict == "rejected" && !odd && !had.same(r, list) {
			there = false
		}
		if !there {
			had, there = read[r.key()]
		}
		switch {
		case there && had.same(r, list):
			s.dups = append(s.dups, r.index)
		case there:
			bad.Add(r.index, conflict(list[r.index].Instrument, had.Value))
		case odd:
			s.odd = append(s.odd, r)
		default:
			s.good = append(s.good, r)
		}
	}
	return s, bad.Err()
}

const addQuarantined = `
insert into reading_quarantine (plant_id, instrument_id, taken_at, source_key, value, lot_id, context_id, batch_id, rule, reason, recorded_at)
select $1, instrument_id, taken_at, source_key, value, nullif(lot_id, 0), context_id, batch_id, rule, reason, $3
from json_to_recordset($2) as r(instrument_id int, taken_at timestamptz, source_key bigint, value float8, lot_id bigint, context_id int,
  batch_id int, rule text, reason text)`

// quarantine stores rows that are not believed.
func quarantine(ctx context.Context, tx *pg.Tx, batch int32, rows []row, why map[int]*Implausible) ([]Quarantined, error) {
	if len(rows) == 0 {
		return nil, nil
	}
	type stored struct {
		Instrument instrument.ID `json:"instrument_id"`
		At         time.Time     `json:"taken_at"`
		Source     int64         `json:"source_key"`
		Value      float64       `json:"value"`
		Lot        int64         `json:"lot_id"`
		Context    int32         `json:"context_id"`
		Batch      int32         `json:"batch_id"`
		Rule       string        `json:"rule"`
		Reason     string        `json:"reason"`
	}
	out, list := make([]Quarantined, len(rows)), make([]stored, len(rows))
	for i, r := range rows {
		w := why[r.index]
		out[i] = Quarantined{r.index, w.Rule, w.Reason}
		list[i] = stored{r.instrument, time.UnixMicro(r.at).UTC(), r.source, r.value, int64(r.lot), r.context, batch, w.Rule, w.Reason}
	}
	if _, err := tx.Insert(ctx, addQuarantined, list); err != nil {
		return nil, fmt.Errorf("quarantine: %w", err)
	}
	return out, nil
}

// Gap is a quarantined reading that nobody made a reading of: at its time
// nothing is known.
type Gap struct {
	Taken
	Rule    string
	Reason  string
	Verdict string // rejected, or empty: nobody has decided
}

// Why says why it is not believed.
func (g Gap) Why() string {
	if g.Verdict == "" {
		return g.Reason
	}
	return g.Reason + "; " + g.Verdict
}

const gaps = `
select (extract(epoch from q.taken_at) * 1000000)::bigint as at, q.value, coalesce(q.lot_id, 0) as lot, q.context_id as context, q.rule, q.reason,
  coalesce(x.verdict, '') as verdict
from reading_quarantine q left join reading_resolution x using (plant_id, quarantine_id)
where q.plant_id = $1 and q.instrument_id = $2 and q.taken_at > $3 and q.taken_at <= $4
  and not exists (select from reading r where r.plant_id = q.plant_id and r.instrument_id = q.instrument_id
    and r.taken_at = q.taken_at and r.source_key = q.source_key)
order by q.taken_at, q.source_key`

// Gaps returns the quarantined readings of an instrument in (after, until] that
// were neither accepted nor sent again as they should have been, in order of
// time.
func Gaps(ctx context.Context, tx *pg.Tx, id instrument.ID, after, until time.Time) ([]Gap, error) {
	var list []Gap
	if err := tx.SelectContext(ctx, &list, gaps, tx.Plant, id, after, until); err != nil {
		return nil, fmt.Errorf("quarantine: %w", err)
	}
	return list, nil
}
