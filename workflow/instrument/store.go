package instrument

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Stored is an instrument as the database knows it.
type Stored struct {
	ID            ID          `db:"instrument_id"`
	Code          string      `db:"code"`
	Unit          string      `db:"unit"`
	Tolerance     unit.Micro  `db:"tolerance"`
	Resolution    *unit.Micro `db:"resolution"`
	InServiceFrom *time.Time  `db:"in_service_from"`
	// What it can show at all. It says which readings are quarantined and
	// nothing of the others, so it is no part of what a verdict rests on.
	RangeLow  *unit.Micro `db:"range_low" json:"-"`
	RangeHigh *unit.Micro `db:"range_high" json:"-"`
}

// Scale returns the unit of the instrument's display.
func (s Stored) Scale() unit.Scale { return unit.Scale(s.Unit[0]) }

// ToleranceDiff returns the instrument's tolerance as a difference.
func (s Stored) ToleranceDiff() unit.Diff { return unit.Diff{Value: s.Tolerance, Scale: s.Scale()} }

// ResolutionDiff returns the display step, nil if unknown.
func (s Stored) ResolutionDiff() *unit.Diff {
	if s.Resolution == nil {
		return nil
	}
	return &unit.Diff{Value: *s.Resolution, Scale: s.Scale()}
}

const columns = `instrument_id, code, unit, tolerance, resolution, in_service_from, range_low, range_high`

// Known returns the plant's instruments by inventory number.
func Known(ctx context.Context, tx *pg.Tx) (map[string]Stored, error) {
	var rows []Stored
	err := tx.SelectContext(ctx, &rows, `select `+columns+` from instrument where plant_id = $1`, tx.Plant)
	if err != nil {
		return nil, fmt.Errorf("instruments: %w", err)
	}
	m := make(map[string]Stored, len(rows))
	for _, r := range rows {
		m[r.Code] = r
	}
	return m, nil
}

// Get returns one instrument by its number in the database.
func Get(ctx context.Context, tx *pg.Tx, id ID) (Stored, error) {
	var s Stored
	err := tx.GetContext(ctx, &s, `select `+columns+` from instrument where plant_id = $1 and instrument_id = $2`, tx.Plant, id)
	return s, err
}

type instrumentRow struct {
	Code           string      `json:"code"`
	Description    string      `json:"description"`
	Kind           Kind        `json:"kind"`
	Role           Role        `json:"role"`
	Use            Use         `json:"used_for"`
	Unit           string      `json:"unit"`
	Resolution     *unit.Micro `json:"resolution"`
	Tolerance      unit.Micro  `json:"tolerance"`
	RangeLow       *unit.Micro `json:"range_low"`
	RangeHigh      *unit.Micro `json:"range_high"`
	Adjustable     bool        `json:"adjustable"`
	CheckEveryDays *int        `json:"check_every_days"`
	InServiceFrom  *time.Time  `json:"in_service_from"`
}

const addInstruments = `
insert into instrument (plant_id, code, description, kind, role, used_for, unit, resolution, tolerance,
  range_low, range_high, adjustable, check_every_days, in_service_from)
select $1, code, description, kind, role, used_for, unit, resolution, tolerance,
  range_low, range_high, adjustable, check_every_days, in_service_from
from json_to_recordset($2) as r(code text, description text, kind text, role text, used_for text, unit text,
  resolution bigint, tolerance bigint, range_low bigint, range_high bigint, adjustable boolean,
  check_every_days int, in_service_from timestamptz)
where $3::timestamptz is not null`

var instrumentSieve = pg.Sieve{
	Noun: "instrument", Key: "instrument",
	Columns: `code text, description text, kind text, role text, used_for text, unit text, resolution bigint,
		tolerance bigint, range_low bigint, range_high bigint, adjustable boolean, check_every_days int, in_service_from timestamptz`,
	Table: `instrument t on t.code = r.code`,
	Same: []pg.Same{
		{Field: "description", If: "t.description = r.description"},
		{Field: "kind", If: "t.kind = r.kind"},
		{Field: "role", If: "t.role = r.role"},
		{Field: "use", If: "t.used_for = r.used_for"},
		{Field: "unit", If: "t.unit = r.unit"},
		{Field: "resolution", If: "t.resolution is not distinct from r.resolution"},
		{Field: "tolerance", If: "t.tolerance = r.tolerance"},
		{Field: "range_low", If: "t.range_low is not distinct from r.range_low"},
		{Field: "range_high", If: "t.range_high is not distinct from r.range_high"},
		{Field: "adjustable", If: "t.adjustable = r.adjustable"},
		{Field: "check_every_days", If: "t.check_every_days is not distinct from r.check_every_days"},
		{Field: "in_service_from", If: "t.in_service_from is not distinct from r.in_service_from"},
	},
}

// Add registers instruments and returns those that are new. The same
// instrument again is left as it is. It returns fault.Rows if a number is used
// for another instrument or a range is upside down.
func Add(ctx context.Context, tx *pg.Tx, list []Instrument) ([]Instrument, error) {
	var bad fault.Rows
	rows := make([]instrumentRow, len(list))
	for i, in := range list {
		if in.RangeLow != nil && in.RangeHigh != nil && *in.RangeLow >= *in.RangeHigh {
			bad.Add(i, fault.New(fault.Invalid, "out-of-range", "the range ends at %v and begins at %v", *in.RangeHigh, *in.RangeLow).In("range_high"))
		}
		rows[i] = toRow(in)
	}
	fresh, err := pg.Sift(ctx, tx, instrumentSieve, rows, func(r instrumentRow) string { return r.Code }, &bad)
	if err != nil || len(bad) > 0 {
		return nil, cmp.Or(err, bad.Err())
	}
	if _, err := tx.Insert(ctx, addInstruments, pg.Pick(rows, fresh)); err != nil {
		return nil, fmt.Errorf("add instruments: %w", err)
	}
	return pg.Pick(list, fresh), nil
}

func toRow(in Instrument) instrumentRow {
	r := instrumentRow{Code: in.Code, Description: in.Description, Kind: in.Kind, Role: in.Role, Use: in.Use,
		Unit: in.Unit.String(), Resolution: in.Resolution, Tolerance: in.Tolerance, RangeLow: in.RangeLow,
		RangeHigh: in.RangeHigh, Adjustable: in.Adjustable, CheckEveryDays: in.CheckEveryDays, InServiceFrom: in.InServiceFrom}
	if r.Role == "" {
		r.Role = Working
	}
	if r.Use == "" {
		r.Use = FoodSafety
	}
	return r
}

// Locations returns the numbers of locations by code, making those that are
// new.
func Locations(ctx context.Context, tx *pg.Tx, codes []string) (map[string]int32, error) {
	const add = `insert into location (plant_id, code)
		select distinct $1::int, code from json_to_recordset($2) as r(code text)
		where $3::timestamptz is not null on conflict do nothing`
	type row struct {
		Code string `json:"code" db:"code"`
		ID   int32  `json:"-" db:"location_id"`
	}
	seen := map[string]bool{}
	var rows []row
	for _, c := range codes {
		if c != "" && !seen[c] {
			seen[c] = true
			rows = append(rows, row{Code: c})
		}
	}
	m := make(map[string]int32, len(rows))
	if len(rows) == 0 {
		return m, nil
	}
	if _, err := tx.Insert(ctx, add, rows); err != nil {
		return nil, fmt.Errorf("locations: %w", err)
	}
	var all []row
	if err := tx.SelectContext(ctx, &all, `select code, location_id from location where plant_id = $1`, tx.Plant); err != nil {
		return nil, fmt.Errorf("locations: %w", err)
	}
	for _, r := range all {
		m[r.Code] = r.ID
	}
	return m, nil
}
