package instrument

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// ClockOffset says for which times of its own a recorder's clock was wrong.
type ClockOffset struct {
	Instrument string
	// From and To are times as the clock showed them; From is included, To is
	// not. A nil To: it is wrong still.
	From time.Time
	To   *time.Time
	// Ahead is what it showed minus the true time [µs]; nil: nobody knows.
	Ahead *int64
	// Bound is how far off it may have been besides [µs].
	Bound int64
	Note  string
}

// Clock is how an instrument's clock was wrong, in order of the times that it
// showed. Empty: it was right, as far as anybody knows.
type Clock []Misset

// Misset is a time for which a clock was wrong [µs].
type Misset struct {
	From, To     int64 // as shown; To is not included, math.MaxInt64 if it is wrong still
	Ahead, Bound int64 // shown minus true, give or take the bound
}

const addClockOffsets = `
insert into clock_offset (plant_id, instrument_id, shown_from, shown_to, ahead_us, bound_us, note, recorded_at, recorded_by)
select $1, instrument_id, shown_from, shown_to, ahead_us, bound_us, note, $3, recorded_by
from json_to_recordset($2) as r(instrument_id int, shown_from timestamptz, shown_to timestamptz, ahead_us bigint, bound_us bigint,
  note text, recorded_by text)
on conflict on constraint clock_offset_once do update set shown_to = excluded.shown_to
  where clock_offset.shown_to is null`

// An offset without an end takes one, once the clock was set right.
var clockSieve = pg.Sieve{
	Noun: "clock offset", Key: "from",
	Columns: `instrument_id int, shown_from timestamptz, shown_to timestamptz, ahead_us bigint, bound_us bigint, note text`,
	Table: `clock_offset t on t.instrument_id = r.instrument_id and t.shown_from = r.shown_from
		and not (t.shown_to is null and r.shown_to is not null and t.ahead_us is not distinct from r.ahead_us
			and t.bound_us = r.bound_us and t.note = r.note)`,
	Same: []pg.Same{
		{Field: "to", If: "r.shown_to is null or t.shown_to = r.shown_to"},
		{Field: "offset_s", If: "t.ahead_us is not distinct from r.ahead_us"},
		{Field: "bound_s", If: "t.bound_us = r.bound_us"},
		{Field: "note", If: "t.note = r.note"},
	},
}

type clockRow struct {
	Instrument ID         `json:"instrument_id"`
	From       time.Time  `json:"shown_from"`
	To         *time.Time `json:"shown_to"`
	Ahead      *int64     `json:"ahead_us"`
	Bound      int64      `json:"bound_us"`
	Note       string     `json:"note"`
	By         string     `json:"recorded_by"`
}

type clockKey struct {
	instrument ID
	from       int64
}

func (r clockRow) key() clockKey { return clockKey{r.Instrument, r.From.UnixMicro()} }

// AddClockOffsets records for which times clocks were wrong and returns what is
// new of it. An offset that had no end may get one. One time has one offset.
func AddClockOffsets(ctx context.Context, tx *pg.Tx, list []ClockOffset) ([]ClockOffset, error) {
	known, err := Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	var bad fault.Rows
	rows := make([]clockRow, len(list))
	for i, o := range list {
		in, ok := known[o.Instrument]
		switch {
		case !ok:
			bad.Add(i, unknownInstrument(o.Instrument, "instrument"))
		case o.Ahead == nil && o.Bound <= 0:
			bad.Add(i, fault.New(fault.Invalid, "offset-or-bound", "say by how much the clock was ahead, or within what bound it was off").In("offset_s"))
		}
		rows[i] = clockRow{in.ID, o.From.UTC(), o.To, o.Ahead, o.Bound, o.Note, tx.By.ID}
	}
	if len(bad) > 0 {
		return nil, bad
	}
	fresh, err := pg.Sift(ctx, tx, clockSieve, rows, clockRow.key, &bad)
	if err != nil || len(bad) > 0 {
		return nil, cmp.Or(err, bad.Err())
	}
	if _, err := tx.Insert(ctx, addClockOffsets, pg.Pick(rows, fresh)); err != nil {
		return nil, fmt.Errorf("add clock offsets: %w", err)
	}
	if err := refuseOverlaps(ctx, tx, rows, fresh); err != nil {
		return nil, err
	}
	return pg.Pick(list, fresh), nil
}

// refuseOverlaps: two offsets at one time would be two times of one reading.
func refuseOverlaps(ctx context.Context, tx *pg.Tx, rows []clockRow, fresh []int) error {
	var over []struct {
		Instrument ID        `db:"instrument_id"`
		From       time.Time `db:"shown_from"`
		Other      time.Time `db:"other"`
	}
	const q = `select a.instrument_id, a.shown_from, b.shown_from as other from clock_offset a join clock_offset b
		on b.plant_id = a.plant_id and b.instrument_id = a.instrument_id and b.shown_from <> a.shown_from
		and tstzrange(a.shown_from, a.shown_to) && tstzrange(b.shown_from, b.shown_to)
		where a.plant_id = $1 order by b.shown_from`
	if err := tx.SelectContext(ctx, &over, q, tx.Plant); err != nil {
		return fmt.Errorf("clock offsets: %w", err)
	}
	other := map[clockKey]time.Time{}
	for _, o := range over {
		other[clockKey{o.Instrument, o.From.UnixMicro()}] = o.Other
	}
	var bad fault.Rows
	for _, i := range fresh {
		if at, overlaps := other[rows[i].key()]; overlaps {
			bad.Add(i, fault.New(fault.Conflict, "overlapping-clock-offset", "the clock has another offset at this time, from %s: end that one first",
				at.UTC().Format(time.RFC3339)).In("from"))
		}
	}
	return bad.Err()
}

// ClockOffsets returns by how much the clocks of an instrument were wrong (all
// instruments: code empty), with a number above after.
func ClockOffsets(ctx context.Context, tx *pg.Tx, code string, after int64, limit int) ([]Numbered[ClockOffset], error) {
	const q = `select clock_offset_id as id, i.code, o.shown_from, o.shown_to, o.ahead_us, o.bound_us, o.note from clock_offset o
		join instrument i using (plant_id, instrument_id)
		where o.plant_id = $1 and clock_offset_id > $2 and ($4 = '' or i.code = $4) order by clock_offset_id limit $3`
	var rows []struct {
		ID    int64      `db:"id"`
		Code  string     `db:"code"`
		From  time.Time  `db:"shown_from"`
		To    *time.Time `db:"shown_to"`
		Ahead *int64     `db:"ahead_us"`
		Bound int64      `db:"bound_us"`
		Note  string     `db:"note"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, after, limit, code); err != nil {
		return nil, fmt.Errorf("clock offsets: %w", err)
	}
	var out []Numbered[ClockOffset]
	for _, r := range rows {
		out = append(out, Numbered[ClockOffset]{r.ID, ClockOffset{r.Code, r.From, r.To, r.Ahead, r.Bound, r.Note}})
	}
	return out, nil
}

// LoadClock returns how an instrument's clock was wrong.
func LoadClock(ctx context.Context, tx *pg.Tx, id ID) (Clock, error) {
	const q = `select (extract(epoch from shown_from) * 1000000)::bigint as "from",
		coalesce((extract(epoch from shown_to) * 1000000)::bigint, 9223372036854775807) as "to",
		coalesce(ahead_us, 0) as ahead, bound_us as bound
		from clock_offset where plant_id = $1 and instrument_id = $2 order by shown_from`
	var c Clock
	if err := tx.SelectContext(ctx, &c, q, tx.Plant, id); err != nil {
		return nil, fmt.Errorf("clock: %w", err)
	}
	return c, nil
}
