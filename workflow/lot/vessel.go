package lot

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// Place is what is known of a location. In a vessel (a silo, tank or kettle)
// product mixes with what stood there before, until it is cleaned out; anywhere
// else lots stand apart. A nil Vessel: nobody has said.
type Place struct {
	Code   string
	Vessel *bool
	Note   string
}

// Cleanout is a documented clean-out of a location: a line, a vessel. It is a
// break between lots: nothing from before it is in what comes after.
type Cleanout struct {
	Location string
	At       time.Time  // when it was over
	From     *time.Time // when it began; nil: not said
	Note     string
	// Withdrawn says that it was recorded and did not take place, or not then.
	Withdrawn bool
}

// As of a product, everything of a location may be brought up to date.
var placeSieve = pg.Sieve{
	Noun: "location", Key: "location",
	Columns: `location_id int, vessel boolean, note text`,
	Table:   `location t on t.location_id = r.location_id and (t.vessel, t.note) is not distinct from (r.vessel, r.note)`,
	Same:    []pg.Same{{Field: "location", If: "true"}},
}

type placeRow struct {
	Location int32  `json:"location_id"`
	Vessel   *bool  `json:"vessel"`
	Note     string `json:"note"`
}

// AddPlaces says what locations are and returns those of which something is new.
func AddPlaces(ctx context.Context, tx *pg.Tx, list []Place) ([]Place, error) {
	const put = `
update location l set vessel = r.vessel, note = r.note, version = version + 1
from json_to_recordset($2) as r(location_id int, vessel boolean, note text)
where l.plant_id = $1 and l.location_id = r.location_id and $3::timestamptz is not null`
	at, err := locations(ctx, tx, list, func(p Place) string { return p.Code })
	if err != nil {
		return nil, err
	}
	rows := make([]placeRow, len(list))
	for i, p := range list {
		rows[i] = placeRow{at[p.Code], p.Vessel, p.Note}
	}
	return pg.AddFresh(ctx, tx, placeSieve, put, list, rows, func(r placeRow) int32 { return r.Location })
}

func locations[T any](ctx context.Context, tx *pg.Tx, list []T, code func(T) string) (map[string]int32, error) {
	codes := make([]string, len(list))
	for i, v := range list {
		codes[i] = code(v)
	}
	return instrument.Locations(ctx, tx, codes)
}

// withdrawn is a condition: a clean-out c does not count.
const withdrawn = `exists (select from cleanout_withdrawal x where x.plant_id = c.plant_id and x.cleanout_id = c.cleanout_id)`

var cleanoutSieve = pg.Sieve{
	Noun: "clean-out", Key: "at",
	Columns: `location_id int, begun_at timestamptz, cleaned_at timestamptz, withdrawn boolean`,
	Table: `cleanout t on t.location_id = r.location_id and t.cleaned_at = r.cleaned_at
		and (not r.withdrawn or exists (select from cleanout_withdrawal x where x.plant_id = t.plant_id and x.cleanout_id = t.cleanout_id))`,
	Same: []pg.Same{
		{Field: "from", If: "r.withdrawn or t.begun_at is not distinct from r.begun_at"},
		{Field: "withdrawn", If: `r.withdrawn or not exists (select from cleanout_withdrawal x
			where x.plant_id = t.plant_id and x.cleanout_id = t.cleanout_id)`},
	},
}

type cleanoutRow struct {
	Location  int32      `json:"location_id"`
	From      *time.Time `json:"begun_at"`
	At        time.Time  `json:"cleaned_at"`
	Note      string     `json:"note"`
	By        string     `json:"recorded_by"`
	Withdrawn bool       `json:"withdrawn"`
}

type cleanoutKey struct {
	location int32
	at       int64
}

// AddCleanouts records clean-outs, and that some did not take place, and returns
// what is new of it. A clean-out is never changed: one that was recorded at a
// wrong time is withdrawn, and recorded as it was.
func AddCleanouts(ctx context.Context, tx *pg.Tx, list []Cleanout) ([]Cleanout, error) {
	const add = `
with r as (select * from json_to_recordset($2) as r(location_id int, begun_at timestamptz, cleaned_at timestamptz, note text,
  recorded_by text, withdrawn boolean)),
w as (
  insert into cleanout_withdrawal (plant_id, cleanout_id, note, recorded_at, recorded_by)
  select $1, c.cleanout_id, r.note, $3, r.recorded_by from r
  join cleanout c on c.plant_id = $1 and c.location_id = r.location_id and c.cleaned_at = r.cleaned_at where r.withdrawn)
insert into cleanout (plant_id, location_id, begun_at, cleaned_at, note, recorded_at, recorded_by)
select $1, location_id, begun_at, cleaned_at, note, $3, recorded_by from r where not withdrawn`
	if err := pg.AllPast(tx, list, "at", func(c Cleanout) time.Time { return c.At }); err != nil {
		return nil, err
	}
	at, err := locations(ctx, tx, list, func(c Cleanout) string { return c.Location })
	if err != nil {
		return nil, err
	}
	rows := make([]cleanoutRow, len(list))
	for i, c := range list {
		rows[i] = cleanoutRow{at[c.Location], c.From, c.At, c.Note, tx.By.ID, c.Withdrawn}
	}
	if err := refuseUnknown(ctx, tx, list, rows); err != nil {
		return nil, err
	}
	return pg.AddFresh(ctx, tx, cleanoutSieve, add, list, rows,
		func(r cleanoutRow) cleanoutKey { return cleanoutKey{r.Location, r.At.UnixMicro()} })
}

// refuseUnknown refuses to withdraw what was never recorded.
func refuseUnknown(ctx context.Context, tx *pg.Tx, list []Cleanout, rows []cleanoutRow) error {
	var known []int
	const q = `select e.i - 1 from json_array_elements($2::json) with ordinality as e(row, i)
		cross join lateral json_to_record(e.row) as r(location_id int, cleaned_at timestamptz)
		join cleanout c on c.plant_id = $1 and c.location_id = r.location_id and c.cleaned_at = r.cleaned_at
		where $3::timestamptz is not null`
	if err := tx.InsertReturning(ctx, &known, q, rows); err != nil {
		return fmt.Errorf("clean-outs: %w", err)
	}
	there := make([]bool, len(list))
	for _, i := range known {
		there[i] = true
	}
	var bad fault.Rows
	for i, c := range list {
		if c.Withdrawn && !there[i] {
			bad.Add(i, fault.New(fault.Invalid, "unknown-cleanout", "no clean-out of %s at %s is recorded that could be withdrawn",
				c.Location, c.At.Format(time.RFC3339)).In("at"))
		}
	}
	return bad.Err()
}

// Places returns locations with a number above after.
func Places(ctx context.Context, tx *pg.Tx, after int64, limit int) ([]Numbered[Place], error) {
	const q = `select location_id, version, code, vessel, note from location
		where plant_id = $1 and location_id > $2 order by location_id limit $3`
	var rows []struct {
		ID      int64  `db:"location_id"`
		Version int    `db:"version"`
		Code    string `db:"code"`
		Vessel  *bool  `db:"vessel"`
		Note    string `db:"note"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, after, limit); err != nil {
		return nil, fmt.Errorf("locations: %w", err)
	}
	out := make([]Numbered[Place], len(rows))
	for i, r := range rows {
		out[i] = Numbered[Place]{r.ID, r.Version, Place{r.Code, r.Vessel, r.Note}}
	}
	return out, nil
}

// Cleanouts returns the clean-outs of a location (of all: code empty), with a
// number above after, those that were withdrawn too.
func Cleanouts(ctx context.Context, tx *pg.Tx, code string, after int64, limit int) ([]Numbered[Cleanout], error) {
	const q = `select c.cleanout_id, l.code, c.begun_at, c.cleaned_at, c.note, x.note as why
		from cleanout c join location l using (plant_id, location_id) left join cleanout_withdrawal x using (plant_id, cleanout_id)
		where c.plant_id = $1 and c.cleanout_id > $2 and ($4 = '' or l.code = $4) order by c.cleanout_id limit $3`
	var rows []struct {
		ID   int64      `db:"cleanout_id"`
		Code string     `db:"code"`
		From *time.Time `db:"begun_at"`
		At   time.Time  `db:"cleaned_at"`
		Note string     `db:"note"`
		Why  *string    `db:"why"` // of the withdrawal; nil: it stands
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, after, limit, code); err != nil {
		return nil, fmt.Errorf("clean-outs: %w", err)
	}
	out := make([]Numbered[Cleanout], len(rows))
	for i, r := range rows {
		c := Cleanout{r.Code, r.At, r.From, r.Note, r.Why != nil}
		if r.Why != nil {
			c.Note = cmp.Or(*r.Why, r.Note)
		}
		out[i] = Numbered[Cleanout]{ID: r.ID, Value: c}
	}
	return out, nil
}

// Break is a clean-out of a location [µs].
type Break struct {
	Location    int32
	Begun, Over int64
}

// Breaks returns the clean-outs that count, from … to, in order of place and time.
func Breaks(ctx context.Context, tx *pg.Tx, from, to time.Time) ([]Break, error) {
	const q = `select c.location_id, coalesce(c.begun_at, c.cleaned_at) as begun, c.cleaned_at from cleanout c
		where c.plant_id = $1 and c.cleaned_at >= $2 and coalesce(c.begun_at, c.cleaned_at) <= $3 and not ` + withdrawn + ` order by 1, 3`
	var rows []struct {
		Location int32     `db:"location_id"`
		Begun    time.Time `db:"begun"`
		Over     time.Time `db:"cleaned_at"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, from, to); err != nil {
		return nil, fmt.Errorf("clean-outs: %w", err)
	}
	out := make([]Break, len(rows))
	for i, r := range rows {
		out[i] = Break{r.Location, r.Begun.UnixMicro(), r.Over.UnixMicro()}
	}
	return out, nil
}
