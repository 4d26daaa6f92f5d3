package lot

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Quarantined is a row of a list that would make a lot its own ancestor, and so
// was put aside. Until a person rejects it, the lots of its cycle are one mixed
// lot.
type Quarantined struct {
	Index  int   // in the list
	ID     int64 // in quarantine
	Fresh  bool  // put there just now
	Detail string
	Lots   []ID // of the cycle, when the row came
}

// Ruling is what a person decides on a row in quarantine.
type Ruling string

// The rulings.
const (
	AcceptedAsCommingled Ruling = "accepted_as_commingled" // it happened, and the lots are one
	Rejected             Ruling = "rejected"               // it is wrong: the lots are what the other rows say
)

// Held is a row of the genealogy in quarantine.
type Held struct {
	ID int64
	Transformation
	Lots       []string // of the cycle, when it came
	Reason     string
	RecordedAt time.Time
	RecordedBy string
	Resolution *Resolution // nil: nobody has decided
}

// Resolution is what somebody decided on a row in quarantine.
type Resolution struct {
	Ruling    Ruling
	Reason    string
	DecidedBy string
	At        time.Time
}

// quarantineCycles puts the rows aside that would close cycles, and finds those
// that were put aside before. Other values for a row that is in quarantine are a
// conflict, unless it was rejected.
func quarantineCycles(ctx context.Context, tx *pg.Tx, list []Transformation, rows []edgeRow, ids map[string]ID) ([]Quarantined, error) {
	out, err := asideBefore(ctx, tx, rows)
	if err != nil {
		return nil, err
	}
	known := map[int]bool{}
	for _, q := range out {
		known[q.Index] = true
	}
	closing, err := cycles(ctx, tx, list, ids, known)
	if err != nil {
		return nil, err
	}
	first := map[edgeKey]Quarantined{} // of this list
	var bad fault.Rows
	for _, c := range closing {
		r := rows[c.index]
		key := edgeKey{r.Input, r.Output, r.Event}
		q, again := first[key]
		switch {
		case again && !r.same(rows[q.Index]):
			bad.Add(c.index, fault.New(fault.Conflict, "conflict", "this transformation was given already with other values, %d rows before", c.index-q.Index).In("event"))
			continue
		case again:
			q.Index, q.Fresh = c.index, false
		default:
			q = Quarantined{Index: c.index, Fresh: true, Detail: c.words(), Lots: c.lots}
			if q.ID, err = putAside(ctx, tx, r, q); err != nil {
				return nil, err
			}
			first[key] = q
		}
		out = append(out, q)
	}
	return out, bad.Err()
}

func (r edgeRow) same(o edgeRow) bool {
	equal := func(a, b *string) bool { return a == nil && b == nil || a != nil && b != nil && *a == *b }
	return r.At.Equal(o.At) && equal(r.In, o.In) && equal(r.Out, o.Out) && equal(r.Unit, o.Unit)
}

// asideBefore finds the rows that are in quarantine already.
func asideBefore(ctx context.Context, tx *pg.Tx, rows []edgeRow) ([]Quarantined, error) {
	const q = `select e.i - 1 as i, q.quarantine_id, q.reason, q.lots,
		q.at = r.at and q.input_quantity is not distinct from r.input_quantity and q.output_quantity is not distinct from r.output_quantity
			and q.quantity_unit is not distinct from r.quantity_unit as same
from json_array_elements($2::json) with ordinality as e(row, i)
cross join lateral json_to_record(e.row) as r(input_lot_id bigint, output_lot_id bigint, event text, at timestamptz,
  input_quantity numeric, output_quantity numeric, quantity_unit text)
join transformation_quarantine q on q.plant_id = $1 and q.input_lot_id = r.input_lot_id and q.output_lot_id = r.output_lot_id and q.event = r.event
left join transformation_resolution x using (plant_id, quarantine_id)
where $3::timestamptz is not null and x.verdict is distinct from 'rejected' order by 1`
	var found []struct {
		Index int           `db:"i"`
		ID    int64         `db:"quarantine_id"`
		Words string        `db:"reason"`
		Lots  pq.Int64Array `db:"lots"`
		Same  bool          `db:"same"`
	}
	if err := tx.InsertReturning(ctx, &found, q, rows); err != nil {
		return nil, fmt.Errorf("genealogy in quarantine: %w", err)
	}
	var out []Quarantined
	var bad fault.Rows
	for _, f := range found {
		if !f.Same {
			bad.Add(f.Index, fault.New(fault.Conflict, "conflict", "this transformation is in quarantine already, with other values, as number %d", f.ID).In("event"))
			continue
		}
		lots := make([]ID, len(f.Lots))
		for i, id := range f.Lots {
			lots[i] = ID(id)
		}
		out = append(out, Quarantined{Index: f.Index, ID: f.ID, Detail: f.Words, Lots: lots})
	}
	return out, bad.Err()
}

func putAside(ctx context.Context, tx *pg.Tx, r edgeRow, q Quarantined) (id int64, err error) {
	const add = `insert into transformation_quarantine (plant_id, input_lot_id, output_lot_id, event, at, input_quantity, output_quantity,
		quantity_unit, lots, reason, recorded_at, recorded_by)
		values ($1, $2, $3, $4, $5, cast($6 as numeric), cast($7 as numeric), $8, $9, $10, $11, $12) returning quarantine_id`
	err = tx.GetContext(ctx, &id, add, tx.Plant, r.Input, r.Output, r.Event, r.At, r.In, r.Out, r.Unit, pq.Array(q.Lots), q.Detail, tx.Now, tx.By.ID)
	if err != nil {
		return 0, fmt.Errorf("genealogy in quarantine: %w", err)
	}
	return id, nil
}

// Resolve records what a person decided on a row in quarantine and returns the
// lots of its cycle. A decision stands.
func Resolve(ctx context.Context, tx *pg.Tx, id int64, r Resolution) ([]string, error) {
	h, err := InQuarantine(ctx, tx, id)
	if err != nil {
		return nil, err
	}
	if h.Resolution != nil {
		return nil, fault.New(fault.Conflict, "already-resolved", "%s decided on %s that it is %s", h.Resolution.DecidedBy,
			h.Resolution.At.Format(time.DateOnly), h.Resolution.Ruling)
	}
	const add = `insert into transformation_resolution (plant_id, quarantine_id, verdict, reason, decided_by, recorded_at, recorded_by)
		values ($1, $2, $3, $4, $5, $6, $7)`
	if _, err := tx.ExecContext(ctx, add, tx.Plant, id, r.Ruling, r.Reason, r.DecidedBy, tx.Now, tx.By.ID); err != nil {
		return nil, fmt.Errorf("genealogy in quarantine: %w", err)
	}
	return h.Lots, nil
}

const inQuarantine = `
select q.quarantine_id, q.event, q.at, i.code as input, o.code as output, cast(q.input_quantity as text) as input_quantity,
  cast(q.output_quantity as text) as output_quantity, q.quantity_unit, q.reason, q.recorded_at, q.recorded_by,
  array(select l.code from lot l where l.plant_id = $1 and l.lot_id = any(q.lots) order by l.code) as lots,
  x.verdict, x.reason as why, x.decided_by, x.recorded_at as decided_at
from transformation_quarantine q join lot i on i.plant_id = q.plant_id and i.lot_id = q.input_lot_id
join lot o on o.plant_id = q.plant_id and o.lot_id = q.output_lot_id
left join transformation_resolution x on x.plant_id = q.plant_id and x.quarantine_id = q.quarantine_id where q.plant_id = $1 and `

type heldRow struct {
	ID         int64          `db:"quarantine_id"`
	Event      string         `db:"event"`
	At         time.Time      `db:"at"`
	Input      string         `db:"input"`
	Output     string         `db:"output"`
	In         *string        `db:"input_quantity"`
	Out        *string        `db:"output_quantity"`
	Unit       *string        `db:"quantity_unit"`
	Reason     string         `db:"reason"`
	RecordedAt time.Time      `db:"recorded_at"`
	RecordedBy string         `db:"recorded_by"`
	Lots       pq.StringArray `db:"lots"`
	Ruling     *Ruling        `db:"verdict"`
	Why        *string        `db:"why"`
	DecidedBy  *string        `db:"decided_by"`
	DecidedAt  *time.Time     `db:"decided_at"`
}

func (r heldRow) held() Held {
	h := Held{r.ID, Transformation{r.Event, r.At, r.Input, r.Output, quantity(r.In, r.Unit), quantity(r.Out, r.Unit)},
		r.Lots, r.Reason, r.RecordedAt, r.RecordedBy, nil}
	if r.Ruling != nil {
		h.Resolution = &Resolution{*r.Ruling, *r.Why, *r.DecidedBy, *r.DecidedAt}
	}
	return h
}

// InQuarantine returns one row in quarantine.
func InQuarantine(ctx context.Context, tx *pg.Tx, id int64) (Held, error) {
	var r heldRow
	err := tx.GetContext(ctx, &r, inQuarantine+`q.quarantine_id = $2`, tx.Plant, id)
	if errors.Is(err, sql.ErrNoRows) {
		return Held{}, fault.New(fault.NotFound, "unknown-transformation", "there is no transformation %d in quarantine", id)
	}
	return r.held(), err
}

// Quarantine returns rows in quarantine with a number above after; only those on
// which nobody has decided, if open.
func Quarantine(ctx context.Context, tx *pg.Tx, open bool, after int64, limit int) ([]Held, error) {
	var rows []heldRow
	err := tx.SelectContext(ctx, &rows, inQuarantine+`q.quarantine_id > $2 and (not $3 or x.verdict is null) order by q.quarantine_id limit $4`,
		tx.Plant, after, open, limit)
	if err != nil {
		return nil, fmt.Errorf("genealogy in quarantine: %w", err)
	}
	out := make([]Held, len(rows))
	for i, r := range rows {
		out[i] = r.held()
	}
	return out, nil
}
