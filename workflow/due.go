package workflow

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"lastgood/policy/metrology"
	"lastgood/workflow/pg"
)

// Due says when an instrument is next to be checked.
type Due struct {
	Instrument    string     `db:"code"`
	Description   string     `db:"description"`
	Role          string     `db:"role"`
	State         string     `db:"state"` // in_use or suspended
	EveryDays     *int       `db:"check_every_days"`
	InServiceFrom *time.Time `db:"in_service_from"`
	// LastAt is the latest check, whatever it said; nil: never checked.
	LastAt    *time.Time        `db:"last_at"`
	LastFound metrology.Verdict `db:"found_verdict"`
	LastLeft  metrology.Verdict `db:"left_verdict"`
	// LastGoodAt is the latest check that left it clearly in tolerance, by a
	// reference that is still trusted. The days count from there.
	LastGoodAt *time.Time `db:"good_at"`
	OutOfUse   bool       `db:"out_of_use"`

	// On is the day, in the plant's zone, until whose end a check is in time; nil:
	// nobody says how often, or since when it is in service.
	On *time.Time
	// Overdue: that day has passed, or it is in service without a good check and
	// nobody knows since when.
	Overdue     bool
	OverdueDays int
}

const dueRows = `
select i.code, i.description, i.role, i.state, i.check_every_days, i.in_service_from, last.performed_at as last_at,
  coalesce(last.found_verdict, '') as found_verdict, coalesce(last.left_verdict, '') as left_verdict, good.performed_at as good_at,
  exists (select from instrument_event e where e.plant_id = i.plant_id and e.instrument_id = i.instrument_id
    and e.kind = 'removed_from_use' and e.at <= $2
    and not exists (select from instrument_event b where b.plant_id = i.plant_id and b.instrument_id = i.instrument_id
      and b.kind = 'returned_to_use' and b.at >= e.at and b.at <= $2)
    and not exists (select from reading r where r.plant_id = i.plant_id and r.instrument_id = i.instrument_id
      and r.taken_at > e.at)) as out_of_use
from instrument i
left join lateral (
  select performed_at, found_verdict, left_verdict from accuracy_check c
  where c.plant_id = i.plant_id and c.instrument_id = i.instrument_id and c.performed_at <= $2
  order by performed_at desc limit 1) last on true
left join lateral (
  select performed_at from accuracy_check c
  where c.plant_id = i.plant_id and c.instrument_id = i.instrument_id and c.performed_at <= $2
    and c.left_verdict = 'pass' and not c.unusable and not c.left_unknown
    and not exists (select from check_point p join deviation_window w
      on w.plant_id = p.plant_id and w.instrument_id = p.reference_id and w.span @> c.performed_at
      where p.plant_id = c.plant_id and p.check_id = c.check_id)
  order by performed_at desc limit 1) good on true
where i.plant_id = $1 and `

// ChecksDue returns the food-safety instruments that are in service and are to
// be checked every so many days, those that have waited longest first.
func (s *Service) ChecksDue(ctx context.Context, sc pg.Scope) ([]Due, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]Due, error) {
		list, err := dueWhere(ctx, tx, `i.used_for = 'food_safety' and i.check_every_days is not null
			and coalesce(i.in_service_from <= $2, true)`)
		list = slices.DeleteFunc(list, func(d Due) bool { return d.OutOfUse })
		slices.SortFunc(list, Due.compare)
		return list, err
	})
}

// compare orders by the day; a day that nobody knows comes first.
func (d Due) compare(e Due) int {
	switch {
	case d.On == nil && e.On != nil:
		return -1
	case d.On != nil && e.On == nil:
		return 1
	case d.On != nil && !d.On.Equal(*e.On):
		return d.On.Compare(*e.On)
	}
	return strings.Compare(d.Instrument, e.Instrument)
}

func dueWhere(ctx context.Context, tx *pg.Tx, which string, args ...any) ([]Due, error) {
	list := []Due{}
	if err := tx.SelectContext(ctx, &list, dueRows+which, append([]any{tx.Plant, tx.Now}, args...)...); err != nil {
		return nil, fmt.Errorf("checks due: %w", err)
	}
	zone, err := zoneOf(ctx, tx)
	if err != nil {
		return nil, err
	}
	for i := range list {
		list[i].settle(tx.Now.In(zone))
	}
	return list, nil
}

// zoneOf returns the plant's time zone.
func zoneOf(ctx context.Context, tx *pg.Tx) (*time.Location, error) {
	var name string
	if err := tx.GetContext(ctx, &name, `select time_zone from plant where plant_id = $1`, tx.Plant); err != nil {
		return nil, fmt.Errorf("time zone: %w", err)
	}
	return time.LoadLocation(name)
}

// settle works out the day, in the zone of now. Whole days, because that is how
// the interval is stated: a daily check that is done at seven today and at eight
// tomorrow is in time (common practice).
func (d *Due) settle(now time.Time) {
	if d.EveryDays == nil {
		return
	}
	day := func(t time.Time, add int) time.Time {
		t = t.In(now.Location())
		return time.Date(t.Year(), t.Month(), t.Day()+add, 0, 0, 0, 0, now.Location())
	}
	switch {
	case d.LastGoodAt != nil:
		on := day(*d.LastGoodAt, *d.EveryDays)
		d.On = &on
	case d.InServiceFrom != nil: // it should have been checked before anyone used it
		on := day(*d.InServiceFrom, 0)
		d.On = &on
	default:
		d.Overdue = true
		return
	}
	const hours = 24 // a day of 23 or 25 hours rounds to one
	d.OverdueDays = max(0, int(math.Round(day(now, 0).Sub(*d.On).Hours()/hours)))
	d.Overdue = d.OverdueDays > 0
}
