package instrument

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// unknownInstrument is the fault of naming an instrument that nobody
// registered.
func unknownInstrument(code, field string) *fault.Error {
	return fault.New(fault.Invalid, "unknown-instrument", "there is no instrument %s", code).In(field)
}

const addEvents = `
insert into instrument_event (plant_id, instrument_id, at, kind, note, recorded_at, recorded_by)
select $1, instrument_id, at, kind, note, $3, recorded_by
from json_to_recordset($2) as r(instrument_id int, at timestamptz, kind text, note text, recorded_by text)`

var eventSieve = pg.Sieve{
	Noun: "event", Key: "event",
	Columns: `instrument_id int, at timestamptz, kind text, note text`,
	Table:   `instrument_event t on t.instrument_id = r.instrument_id and t.at = r.at and t.kind = r.kind`,
	Same:    []pg.Same{{Field: "note", If: "t.note = r.note"}},
}

type eventRow struct {
	Instrument ID        `json:"instrument_id"`
	At         time.Time `json:"at"`
	Kind       EventKind `json:"kind"`
	Note       string    `json:"note"`
	By         string    `json:"recorded_by"`
}

type eventKey struct {
	instrument ID
	at         int64
	kind       EventKind
}

// AddEvents records what happened to instruments and returns what is new of it.
// The same event again is left as it is; with another note it is a conflict.
func AddEvents(ctx context.Context, tx *pg.Tx, list []Event) ([]Event, error) {
	known, err := Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	var bad fault.Rows
	rows := make([]eventRow, len(list))
	for i, e := range list {
		in, ok := known[e.Instrument]
		if !ok {
			bad.Add(i, unknownInstrument(e.Instrument, "instrument"))
		}
		if early := tx.NotYet(e.At, "at"); early != nil {
			bad.Add(i, early)
		}
		rows[i] = eventRow{in.ID, e.At.UTC(), e.Kind, e.Note, tx.By.ID}
	}
	if len(bad) > 0 {
		return nil, bad
	}
	fresh, err := pg.Sift(ctx, tx, eventSieve, rows, func(r eventRow) eventKey {
		return eventKey{r.Instrument, r.At.UnixMicro(), r.Kind}
	}, &bad)
	if err != nil || len(bad) > 0 {
		return nil, cmp.Or(err, bad.Err())
	}
	if _, err := tx.Insert(ctx, addEvents, pg.Pick(rows, fresh)); err != nil {
		return nil, fmt.Errorf("add events: %w", err)
	}
	return pg.Pick(list, fresh), nil
}

const addMountings = `
insert into mounting (plant_id, instrument_id, location_id, mounted_from, mounted_to, recorded_at)
select $1, instrument_id, location_id, mounted_from, mounted_to, $3
from json_to_recordset($2) as r(instrument_id int, location_id int, mounted_from timestamptz, mounted_to timestamptz)
on conflict on constraint mounting_once do update set mounted_to = excluded.mounted_to
  where mounting.mounted_to is null`

// A mounting without an end takes one, and an end once known is not forgotten
// where the row from before is sent again.
var mountingSieve = pg.Sieve{
	Noun: "mounting", Key: "from",
	Columns: `instrument_id int, location_id int, mounted_from timestamptz, mounted_to timestamptz`,
	Table: `mounting t on t.instrument_id = r.instrument_id and t.location_id = r.location_id and t.mounted_from = r.mounted_from
		and not (t.mounted_to is null and r.mounted_to is not null)`,
	Same: []pg.Same{{Field: "to", If: "r.mounted_to is null or t.mounted_to = r.mounted_to"}},
}

type mountingRow struct {
	Instrument ID         `json:"instrument_id"`
	Location   int32      `json:"location_id"`
	From       time.Time  `json:"mounted_from"`
	To         *time.Time `json:"mounted_to"`
}

type mountingKey struct {
	instrument ID
	location   int32
	from       int64
}

// AddMountings records where instruments hung and returns what is new of it. A
// mounting that had no end may get one.
func AddMountings(ctx context.Context, tx *pg.Tx, list []Mounting) ([]Mounting, error) {
	known, err := Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	var bad fault.Rows
	codes := make([]string, len(list))
	for i, m := range list {
		if _, ok := known[m.Instrument]; !ok {
			bad.Add(i, unknownInstrument(m.Instrument, "instrument"))
		}
		codes[i] = m.Location
	}
	if len(bad) > 0 {
		return nil, bad
	}
	places, err := Locations(ctx, tx, codes)
	if err != nil {
		return nil, err
	}
	rows := make([]mountingRow, len(list))
	for i, m := range list {
		rows[i] = mountingRow{known[m.Instrument].ID, places[m.Location], m.From, m.To}
	}
	fresh, err := pg.Sift(ctx, tx, mountingSieve, rows, func(r mountingRow) mountingKey {
		return mountingKey{r.Instrument, r.Location, r.From.UnixMicro()}
	}, &bad)
	if err != nil || len(bad) > 0 {
		return nil, cmp.Or(err, bad.Err())
	}
	if _, err := tx.Insert(ctx, addMountings, pg.Pick(rows, fresh)); err != nil {
		return nil, fmt.Errorf("add mountings: %w", err)
	}
	return pg.Pick(list, fresh), nil
}
