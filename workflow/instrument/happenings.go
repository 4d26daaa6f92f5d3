package instrument

import (
	"context"
	"fmt"
	"time"

	"lastgood/policy/unit"
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
from json_to_recordset($2) as r(instrument_id int, at timestamptz, kind text, note text, recorded_by text)
on conflict do nothing returning instrument_id, at, kind`

// AddEvents records what happened to instruments and returns what is new of it.
// An event that is recorded already is left as it is.
func AddEvents(ctx context.Context, tx *pg.Tx, list []Event) ([]Event, error) {
	known, err := Known(ctx, tx)
	if err != nil {
		return nil, err
	}
	type row struct {
		Instrument ID        `json:"instrument_id"`
		At         time.Time `json:"at"`
		Kind       EventKind `json:"kind"`
		Note       string    `json:"note"`
		By         string    `json:"recorded_by"`
	}
	var bad fault.Rows
	rows := make([]row, len(list))
	for i, e := range list {
		in, ok := known[e.Instrument]
		if !ok {
			bad.Add(i, unknownInstrument(e.Instrument, "instrument"))
		}
		rows[i] = row{in.ID, e.At, e.Kind, e.Note, tx.By.ID}
	}
	if len(bad) > 0 {
		return nil, bad
	}
	var made []eventKey
	if err := tx.InsertReturning(ctx, &made, addEvents, rows); err != nil {
		return nil, fmt.Errorf("add events: %w", err)
	}
	return freshEvents(list, made, known), nil
}

// eventKey is what makes an event one.
type eventKey struct {
	Instrument ID        `db:"instrument_id"`
	At         time.Time `db:"at"`
	Kind       EventKind `db:"kind"`
}

// freshEvents returns the events that were made, each once.
func freshEvents(list []Event, made []eventKey, known map[string]Stored) []Event {
	isNew := make(map[eventKey]bool, len(made))
	for _, k := range made {
		isNew[eventKey{k.Instrument, k.At.UTC(), k.Kind}] = true
	}
	var fresh []Event
	for _, e := range list {
		k := eventKey{known[e.Instrument].ID, e.At.UTC(), e.Kind}
		if isNew[k] {
			fresh = append(fresh, e)
			delete(isNew, k)
		}
	}
	return fresh
}

const addMountings = `
insert into mounting (plant_id, instrument_id, location_id, mounted_from, mounted_to, recorded_at)
select $1, instrument_id, location_id, mounted_from, mounted_to, $3
from json_to_recordset($2) as r(instrument_id int, location_id int, mounted_from timestamptz, mounted_to timestamptz)
on conflict on constraint mounting_once do update set mounted_to = excluded.mounted_to
  where mounting.mounted_to is null`

// AddMountings records where instruments hung. A mounting that had no end may
// get one.
func AddMountings(ctx context.Context, tx *pg.Tx, list []Mounting) error {
	known, err := Known(ctx, tx)
	if err != nil {
		return err
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
		return bad
	}
	places, err := Locations(ctx, tx, codes)
	if err != nil {
		return err
	}
	type row struct {
		Instrument ID         `json:"instrument_id"`
		Location   int32      `json:"location_id"`
		From       time.Time  `json:"mounted_from"`
		To         *time.Time `json:"mounted_to"`
	}
	rows := make([]row, len(list))
	for i, m := range list {
		rows[i] = row{known[m.Instrument].ID, places[m.Location], m.From, m.To}
	}
	if _, err := tx.Insert(ctx, addMountings, rows); err != nil {
		return fmt.Errorf("add mountings: %w", err)
	}
	return nil
}

const addCertificates = `
with c as (
  insert into certificate (plant_id, instrument_id, number, issued_at, valid_until, unit)
  select $1, instrument_id, number, issued_at, valid_until, unit
  from json_to_recordset($2) as r(instrument_id int, number text, issued_at timestamptz, valid_until timestamptz, unit text)
  where $3::timestamptz is not null
  returning certificate_id, instrument_id, number)
insert into certificate_point (plant_id, certificate_id, at_temperature, correction, expanded_uncertainty)
select $1, c.certificate_id, p.at, p.correction, p.expanded_uncertainty
from json_to_recordset($2) as r(instrument_id int, number text, points json)
join c using (instrument_id, number),
json_to_recordset(r.points) as p(at bigint, correction bigint, expanded_uncertainty bigint)`

// AddCertificates records calibration certificates of references.
func AddCertificates(ctx context.Context, tx *pg.Tx, list []Certificate) error {
	known, err := Known(ctx, tx)
	if err != nil {
		return err
	}
	have, err := certificateNumbers(ctx, tx)
	if err != nil {
		return err
	}
	var bad fault.Rows
	rows := make([]certificateRow, len(list))
	for i, c := range list {
		in, ok := known[c.Instrument]
		switch {
		case !ok:
			bad.Add(i, unknownInstrument(c.Instrument, "instrument"))
		case have[certificateKey{in.ID, c.Number}]:
			bad.Add(i, fault.New(fault.Conflict, "duplicate", "certificate %s of %s is recorded already", c.Number, c.Instrument).In("certificate"))
		case !c.ValidUntil.After(c.IssuedAt):
			bad.Add(i, fault.New(fault.Invalid, "out-of-range", "the certificate ends before it is issued").In("valid_until"))
		}
		rows[i] = newCertificateRow(in.ID, c)
	}
	if len(bad) > 0 || len(list) == 0 {
		return bad.Err()
	}
	if _, err := tx.Insert(ctx, addCertificates, rows); err != nil {
		return fmt.Errorf("add certificates: %w", err)
	}
	return nil
}

type certificateKey struct {
	Instrument ID     `db:"instrument_id"`
	Number     string `db:"number"`
}

func certificateNumbers(ctx context.Context, tx *pg.Tx) (map[certificateKey]bool, error) {
	var keys []certificateKey
	err := tx.SelectContext(ctx, &keys, `select instrument_id, number from certificate where plant_id = $1`, tx.Plant)
	m := make(map[certificateKey]bool, len(keys))
	for _, k := range keys {
		m[k] = true
	}
	return m, err
}

type certificateRow struct {
	Instrument ID                    `json:"instrument_id"`
	Number     string                `json:"number"`
	IssuedAt   time.Time             `json:"issued_at"`
	ValidUntil time.Time             `json:"valid_until"`
	Unit       string                `json:"unit"`
	Points     []certificatePointRow `json:"points"`
}

type certificatePointRow struct {
	At                  unit.Micro `json:"at"`
	Correction          unit.Micro `json:"correction"`
	ExpandedUncertainty unit.Micro `json:"expanded_uncertainty"`
}

func newCertificateRow(id ID, c Certificate) certificateRow {
	r := certificateRow{Instrument: id, Number: c.Number, IssuedAt: c.IssuedAt, ValidUntil: c.ValidUntil, Unit: c.Unit.String()}
	for _, p := range c.Points {
		r.Points = append(r.Points, certificatePointRow(p))
	}
	return r
}
