package instrument

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Rejudged is a check that a certificate which became known after it changes.
type Rejudged struct {
	Done
	NowFound, NowLeft metrology.Verdict
	Distrusted        string // why it is no check at all; empty: it is one
	points            []metrology.Point
}

// Rejudge judges the checks anew that certificates are valid for and that were
// recorded before them, stores what is different now, and returns it. The checks
// themselves stay as they were judged then. One that no certificate allows any
// more is distrusted.
func Rejudge(ctx context.Context, tx *pg.Tx, fresh []Certificate, rule metrology.Rule) ([]Rejudged, error) {
	list, err := madeUnder(ctx, tx, fresh)
	if err != nil || len(list) == 0 {
		return nil, err
	}
	checks := make([]Check, len(list))
	for i, d := range list {
		checks[i] = d.Check
		checks[i].Confirmed = true // somebody looked at the values when they were recorded
	}
	judged, err := Judge(ctx, tx, checks, rule)
	var bad fault.Rows
	if err != nil && !errors.As(err, &bad) {
		return nil, err
	}
	had, err := pointsInForce(ctx, tx, list)
	if err != nil {
		return nil, err
	}
	var out []Rejudged
	for i, d := range list {
		r := Rejudged{Done: d, NowFound: d.Found, NowLeft: d.Left}
		for _, b := range bad {
			if b.Index == i {
				r.Distrusted = b.Detail
			}
		}
		if r.Distrusted == "" {
			j := judged[i]
			j.LeftUnknown = d.LeftUnknown
			now := j.metrology().Judge(d.Instrument.ToleranceDiff(), rule)
			r.NowFound, r.NowLeft, r.points = now.Found, now.Left, j.Points
		}
		if r.Distrusted != "" || had.differ(d.ID, r.points) {
			out = append(out, r)
		}
	}
	return out, addRejudged(ctx, tx, out)
}

// madeUnder returns the checks that were made with the references of
// certificates while those were valid.
func madeUnder(ctx context.Context, tx *pg.Tx, certificates []Certificate) (list []Done, err error) {
	const which = `c.performed_at >= $3 and c.performed_at <= $4 and exists (select from check_point p
		join instrument r on r.plant_id = p.plant_id and r.instrument_id = p.reference_id
		where p.plant_id = c.plant_id and p.check_id = c.check_id and r.code = $2) order by c.check_id`
	seen := map[int64]bool{}
	for _, k := range certificates {
		some, err := checksDone(ctx, tx, done+which, tx.Plant, k.Instrument, k.IssuedAt, k.ValidUntil)
		if err != nil {
			return nil, err
		}
		for _, d := range some {
			if !seen[d.ID] {
				list = append(list, d)
			}
			seen[d.ID] = true
		}
	}
	return list, nil
}

// inForce is with what each point of some checks is judged, by check.
type inForce map[int64][]pointInForce

type pointInForce struct {
	Check int64      `db:"check_id"`
	True  unit.Micro `db:"true_temperature"`
	U     float64    `db:"reference_u"`
	DoF   float64    `db:"reference_dof"`
}

func pointsInForce(ctx context.Context, tx *pg.Tx, list []Done) (inForce, error) {
	ids := make([]int64, len(list))
	for i, d := range list {
		ids[i] = d.ID
	}
	var rows []pointInForce
	const q = `select p.check_id, coalesce(q.true_temperature, p.true_temperature) as true_temperature,
		coalesce(q.reference_u, p.reference_u) as reference_u,
		coalesce(q.reference_dof, p.reference_dof, 0) as reference_dof
		from check_point p ` + anew + ` where p.plant_id = $1 and p.check_id = any($2) order by p.check_id, p.ordinal`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("points in force: %w", err)
	}
	m := inForce{}
	for _, r := range rows {
		m[r.Check] = append(m[r.Check], r)
	}
	return m, nil
}

// differ says whether the points of a check are judged with something else.
func (m inForce) differ(check int64, points []metrology.Point) bool {
	for i, p := range points {
		if had := m[check][i]; had.True != p.Reference.True || had.U != float64(p.Reference.U) || had.DoF != p.Reference.DoF {
			return true
		}
	}
	return false
}

const addRejudgedRows = `
with j as (
  insert into check_rejudged (plant_id, check_id, found_verdict, left_verdict, distrusted, recorded_at, recorded_by)
  select $1, check_id, found_verdict, left_verdict, distrusted, $3, recorded_by
  from json_to_recordset($2) as r(check_id bigint, found_verdict text, left_verdict text, distrusted text, recorded_by text)
  returning rejudged_id, check_id)
insert into check_point_rejudged (plant_id, rejudged_id, ordinal, true_temperature, reference_u, reference_dof, basis)
select $1, j.rejudged_id, p.ordinal, p.true_temperature, p.reference_u, p.reference_dof, p.basis
from json_to_recordset($2) as r(check_id bigint, points json) join j using (check_id),
json_to_recordset(r.points) as p(ordinal int, true_temperature bigint, reference_u float8, reference_dof float8, basis text)`

func addRejudged(ctx context.Context, tx *pg.Tx, list []Rejudged) error {
	type point struct {
		Ordinal int        `json:"ordinal"`
		True    unit.Micro `json:"true_temperature"`
		U       float64    `json:"reference_u"`
		DoF     float64    `json:"reference_dof"` // 0: infinitely many
		Basis   string     `json:"basis"`
	}
	type row struct {
		Check      int64             `json:"check_id"`
		Found      metrology.Verdict `json:"found_verdict"`
		Left       metrology.Verdict `json:"left_verdict"`
		Distrusted string            `json:"distrusted"`
		By         string            `json:"recorded_by"`
		Points     []point           `json:"points"`
	}
	rows := make([]row, len(list))
	for i, r := range list {
		rows[i] = row{r.ID, r.NowFound, r.NowLeft, r.Distrusted, tx.By.ID, []point{}}
		for n, p := range r.points {
			rows[i].Points = append(rows[i].Points, point{n, p.Reference.True, float64(p.Reference.U), p.Reference.DoF, p.Reference.Basis})
		}
	}
	if _, err := tx.Insert(ctx, addRejudgedRows, rows); err != nil {
		return fmt.Errorf("checks judged anew: %w", err)
	}
	return nil
}

// anew joins what a point p is judged with since a certificate of its reference
// became known late. Its degrees of freedom are null where they were not kept yet,
// and 0 where they are infinitely many.
const anew = `left join lateral (select q.true_temperature, q.reference_u, q.reference_dof, q.basis from check_point_rejudged q
  where q.plant_id = p.plant_id and q.ordinal = p.ordinal and q.rejudged_id = (
    select max(j.rejudged_id) from check_rejudged j where j.plant_id = p.plant_id and j.check_id = p.check_id)) q on true`

// News is a check of which the verdict is another since it was judged anew, and
// that nobody has confirmed what comes of it.
type News struct {
	Check      int64          `db:"check_id"`
	Instrument ID             `db:"instrument_id"`
	At         time.Time      `db:"performed_at"`
	Against    pq.StringArray `db:"codes"`
	Found      string         `db:"found"`
	Left       string         `db:"left_then"`
	NowFound   string         `db:"found_now"`
	NowLeft    string         `db:"left_now"`
}

// RejudgedNews returns what is new of the checks of some instruments.
func RejudgedNews(ctx context.Context, tx *pg.Tx, of []ID) (list []News, err error) {
	const q = `
select c.check_id, c.instrument_id, c.performed_at, c.found_verdict as found, c.left_verdict as left_then,
  j.found_verdict as found_now, j.left_verdict as left_now,
  (select array_agg(distinct r.code order by r.code) from check_point p
    join instrument r on r.plant_id = p.plant_id and r.instrument_id = p.reference_id
    where p.plant_id = c.plant_id and p.check_id = c.check_id) as codes
from accuracy_check c cross join lateral (select * from check_rejudged j
  where j.plant_id = c.plant_id and j.check_id = c.check_id order by j.rejudged_id desc limit 1) j
where c.plant_id = $1 and c.instrument_id = any($2) and j.distrusted = ''
  and (j.found_verdict, j.left_verdict) <> (c.found_verdict, c.left_verdict)
  and not exists (select from cascade_check k join cascade x using (plant_id, cascade_id)
    where k.plant_id = c.plant_id and k.check_id = c.check_id and x.state <> 'pending' and x.previewed_at >= j.recorded_at)
order by c.check_id`
	if err := tx.SelectContext(ctx, &list, q, tx.Plant, pq.Array(of)); err != nil {
		return nil, fmt.Errorf("checks judged anew: %w", err)
	}
	return list, nil
}
