package instrument

import (
	"context"
	"fmt"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Lists are in order of the database's own numbers, a page after the number
// that the page before ended with.

// Registered is an instrument as it stands.
type Registered struct {
	ID      ID
	Version int
	State   string // in_use or suspended
	Instrument
}

type registeredRow struct {
	ID      ID     `db:"instrument_id"`
	Version int    `db:"version"`
	State   string `db:"state"`
	Body    []byte `db:"body"`
}

const registered = `select t.instrument_id, t.version, t.state, row_to_json(t) as body from instrument t where t.plant_id = $1 and `

// List returns instruments with a number above after.
func List(ctx context.Context, tx *pg.Tx, after ID, limit int) ([]Registered, error) {
	var rows []registeredRow
	err := tx.SelectContext(ctx, &rows, registered+`t.instrument_id > $2 order by t.instrument_id limit $3`, tx.Plant, after, limit)
	if err != nil {
		return nil, fmt.Errorf("instruments: %w", err)
	}
	out := make([]Registered, len(rows))
	for i, r := range rows {
		if out[i], err = r.registered(); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// ByCode returns one instrument by its inventory number.
func ByCode(ctx context.Context, tx *pg.Tx, code string) (Registered, error) {
	var rows []registeredRow
	if err := tx.SelectContext(ctx, &rows, registered+`t.code = $2`, tx.Plant, code); err != nil {
		return Registered{}, fmt.Errorf("instrument: %w", err)
	}
	if len(rows) == 0 {
		return Registered{}, fault.New(fault.NotFound, "unknown-instrument", "there is no instrument %s", code)
	}
	return rows[0].registered()
}

func (r registeredRow) registered() (Registered, error) {
	var row instrumentRow
	if err := json.Unmarshal(r.Body, &row); err != nil {
		return Registered{}, fmt.Errorf("instrument %d: %w", r.ID, err)
	}
	return Registered{r.ID, r.Version, r.State, Instrument{Code: row.Code, Description: row.Description, Kind: row.Kind,
		Role: row.Role, Use: row.Use, Unit: unit.Scale(row.Unit[0]), Resolution: row.Resolution, Tolerance: row.Tolerance,
		RangeLow: row.RangeLow, RangeHigh: row.RangeHigh, Adjustable: row.Adjustable, CheckEveryDays: row.CheckEveryDays,
		InServiceFrom: row.InServiceFrom}}, nil
}

// Numbered is a row of a list with its number.
type Numbered[T any] struct {
	ID    int64
	Value T
}

// Events returns what happened to an instrument (all instruments: code empty),
// with a number above after.
func Events(ctx context.Context, tx *pg.Tx, code string, after int64, limit int) ([]Numbered[Event], error) {
	const q = `select event_id as id, i.code, e.at, e.kind, e.note from instrument_event e join instrument i using (plant_id, instrument_id)
		where e.plant_id = $1 and event_id > $2 and ($4 = '' or i.code = $4) order by event_id limit $3`
	var rows []struct {
		ID   int64     `db:"id"`
		Code string    `db:"code"`
		At   time.Time `db:"at"`
		Kind EventKind `db:"kind"`
		Note string    `db:"note"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, after, limit, code); err != nil {
		return nil, fmt.Errorf("events: %w", err)
	}
	var out []Numbered[Event]
	for _, r := range rows {
		out = append(out, Numbered[Event]{r.ID, Event{r.Code, r.At, r.Kind, r.Note}})
	}
	return out, nil
}

// Mountings returns where an instrument hung (all: code empty), with a number
// above after.
func Mountings(ctx context.Context, tx *pg.Tx, code string, after int64, limit int) ([]Numbered[Mounting], error) {
	const q = `select mounting_id as id, i.code, l.code as location, mounted_from, mounted_to from mounting m
		join instrument i using (plant_id, instrument_id) join location l using (plant_id, location_id)
		where m.plant_id = $1 and mounting_id > $2 and ($4 = '' or i.code = $4) order by mounting_id limit $3`
	var rows []struct {
		ID       int64      `db:"id"`
		Code     string     `db:"code"`
		Location string     `db:"location"`
		From     time.Time  `db:"mounted_from"`
		To       *time.Time `db:"mounted_to"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, after, limit, code); err != nil {
		return nil, fmt.Errorf("mountings: %w", err)
	}
	var out []Numbered[Mounting]
	for _, r := range rows {
		out = append(out, Numbered[Mounting]{r.ID, Mounting{r.Code, r.Location, r.From, r.To}})
	}
	return out, nil
}

// Certificates returns the certificates of an instrument (all: code empty), with
// a number above after.
func Certificates(ctx context.Context, tx *pg.Tx, code string, after int64, limit int) ([]Numbered[Certificate], error) {
	const q = `select certificate_id as id, i.code, c.number, c.issued_at, c.valid_until, c.unit, c.fit,
		(select json_agg(json_build_object('at', at_temperature, 'correction', correction,
			'expanded_uncertainty', expanded_uncertainty) order by at_temperature)
			from certificate_point p where p.plant_id = c.plant_id and p.certificate_id = c.certificate_id) as points
		from certificate c join instrument i using (plant_id, instrument_id)
		where c.plant_id = $1 and certificate_id > $2 and ($4 = '' or i.code = $4) order by certificate_id limit $3`
	var rows []struct {
		ID         int64     `db:"id"`
		Code       string    `db:"code"`
		Number     string    `db:"number"`
		IssuedAt   time.Time `db:"issued_at"`
		ValidUntil time.Time `db:"valid_until"`
		Unit       string    `db:"unit"`
		Fit        Fit       `db:"fit"`
		Points     []byte    `db:"points"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, after, limit, code); err != nil {
		return nil, fmt.Errorf("certificates: %w", err)
	}
	var out []Numbered[Certificate]
	for _, r := range rows {
		var points []certificatePointRow
		if err := json.Unmarshal(r.Points, &points); err != nil {
			return nil, fmt.Errorf("certificate %d: %w", r.ID, err)
		}
		c := Certificate{Instrument: r.Code, Number: r.Number, IssuedAt: r.IssuedAt, ValidUntil: r.ValidUntil, Unit: unit.Scale(r.Unit[0]), Fit: r.Fit}
		for _, p := range points {
			c.Points = append(c.Points, CertificatePoint(p))
		}
		out = append(out, Numbered[Certificate]{r.ID, c})
	}
	return out, nil
}
