package workflow

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// visit is a time in which the instrument vouched for a lot.
type visit struct {
	Lot      int64     `db:"lot_id"`
	First    time.Time `db:"first_at"`
	Last     time.Time `db:"last_at"`
	Quantity *float64  `db:"quantity"`
	Unit     *string   `db:"quantity_unit"`
}

const visits = `
with place as (
  select location_id, first_at as since, last_at as upto from location_span where plant_id = $1 and instrument_id = $2
  union
  select location_id, mounted_from, coalesce(mounted_to, 'infinity') from mounting where plant_id = $1 and instrument_id = $2),
seen as (
  select lot_id, first_at, last_at from lot_span where plant_id = $1 and instrument_id = $2
  union
  select y.lot_id, greatest(y.stayed_from, p.since), least(y.stayed_to, p.upto, cast($4 as timestamptz))
  from stay y join place p using (location_id)
  where y.plant_id = $1 and y.stayed_from <= p.upto and coalesce(y.stayed_to, 'infinity') >= p.since)
select s.lot_id, s.first_at, s.last_at, cast(l.quantity as float8) as quantity, l.quantity_unit
from seen s join lot l on l.plant_id = $1 and l.lot_id = s.lot_id
where s.last_at > $3 and s.first_at <= $4 order by s.lot_id, s.first_at, s.last_at`

// count reads what the instrument vouched for over the last year of its use.
func (r *Intervals) count(ctx context.Context, tx *pg.Tx, id instrument.ID) ([]visit, error) {
	var span struct {
		First *time.Time `db:"first_at"`
		Last  *time.Time `db:"last_at"`
	}
	const q = `select min(taken_at) as first_at, max(taken_at) as last_at from reading
		where plant_id = $1 and instrument_id = $2 and taken_at <= $3`
	if err := tx.GetContext(ctx, &span, q, tx.Plant, id, tx.Now); err != nil {
		return nil, fmt.Errorf("record: %w", err)
	}
	if span.First == nil {
		return nil, nil
	}
	from, to := span.First.Add(-time.Microsecond).UTC(), span.Last.UTC()
	if earliest := to.Add(-year); from.Before(earliest) {
		from = earliest
	}
	var list []visit
	if err := tx.SelectContext(ctx, &list, visits, tx.Plant, id, from, to); err != nil {
		return nil, fmt.Errorf("lots of the record: %w", err)
	}
	const n = `select count(*) from reading where plant_id = $1 and instrument_id = $2 and taken_at > $3 and taken_at <= $4`
	if err := tx.GetContext(ctx, &r.Readings, n, tx.Plant, id, from, to); err != nil {
		return nil, fmt.Errorf("readings of the record: %w", err)
	}
	r.From, r.To = &from, &to
	for i, v := range list {
		if i > 0 && list[i-1].Lot == v.Lot {
			continue
		}
		r.Lots++
		if v.Quantity == nil {
			r.Unweighed++
		}
	}
	return list, nil
}

// exposed counts what a failed check would have put in doubt at an interval.
//
//	in doubt at t = the lots that were vouched for in (t − T, t]
//	mean = their number over all t, weighed by time;  worst = the largest
//
//	T  interval                                                  [µs]
//	t  every moment from the record's start + T to its end       [µs]
//
// Assumes:  checks are done when they are due; what was made of the lots, and what
// the lots went into, is not counted twice here: see a drill for that.
func (r *Intervals) exposed(list []visit, days float64) Exposed {
	length := int64(math.Round(days * microsPerDay))
	if r.From == nil || r.To.Sub(*r.From).Microseconds() < length {
		return Exposed{}
	}
	from, to := r.From.UnixMicro()+length, r.To.UnixMicro()
	tallies := map[string]*tally{"": {}} // by unit; the lots themselves under none
	for i := 0; i < len(list); {
		v := list[i]
		for i < len(list) && list[i].Lot == v.Lot {
			begins, ends := max(list[i].First.UnixMicro(), from), min(list[i].Last.UnixMicro()+length, to+1)
			for i++; i < len(list) && list[i].Lot == v.Lot && list[i].First.UnixMicro() <= ends; i++ {
				ends = max(ends, min(list[i].Last.UnixMicro()+length, to+1))
			}
			tallies[""].add(begins, ends, 1)
			if v.Quantity == nil || v.Unit == nil {
				continue
			}
			if tallies[*v.Unit] == nil {
				tallies[*v.Unit] = &tally{}
			}
			tallies[*v.Unit].add(begins, ends, *v.Quantity)
		}
	}
	return exposedOf(tallies, from, to)
}

func exposedOf(tallies map[string]*tally, from, to int64) Exposed {
	e := Exposed{Counted: true, Quantities: []ExposedQuantity{}}
	e.MeanLots, e.WorstLots = tallies[""].over(from, to)
	for name, t := range tallies {
		if name != "" {
			mean, worst := t.over(from, to)
			e.Quantities = append(e.Quantities, ExposedQuantity{name, mean, worst})
		}
	}
	slices.SortFunc(e.Quantities, func(a, b ExposedQuantity) int { return strings.Compare(a.Unit, b.Unit) })
	return e
}

// tally is an amount that comes and goes.
type tally struct{ steps []step }

type step struct {
	at   int64
	plus float64
}

// add adds an amount that is there in [begins, ends).
func (t *tally) add(begins, ends int64, amount float64) {
	if begins < ends {
		t.steps = append(t.steps, step{begins, amount}, step{ends, -amount})
	}
}

// over returns the mean over [from, to], and the largest amount.
func (t *tally) over(from, to int64) (mean, worst float64) {
	slices.SortFunc(t.steps, func(a, b step) int {
		switch {
		case a.at < b.at, a.at == b.at && a.plus < b.plus: // what ends goes before what begins
			return -1
		case a == b:
			return 0
		}
		return 1
	})
	now, at, area := 0.0, from, 0.0
	for _, s := range t.steps {
		area += now * float64(s.at-at)
		now, at = now+s.plus, s.at
		worst = max(worst, now)
	}
	return area / float64(to+1-from), worst
}
