package workflow

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// A discrete reading vouches for all product at its limit and line between the
// nearest earlier and later readings by instruments that are not in doubt, ends
// excluded; without one, without end. A lot that no reading names is as good as
// the readings around it; one that has none around it is unknown.

// sampled says that a limit does not have a record of every lot that is made
// under it.
func sampled(l limit.Limit) bool {
	return (l.Monitoring == limit.Discrete || l.Monitoring == limit.OnException) && len(l.AppliesTo.Products) > 0
}

// discrete returns the limits that have no record of every lot and say for which
// products they are, of those that an instrument was read for.
func discrete(ctx context.Context, tx *pg.Tx, id instrument.ID, p sitePolicy) ([]limit.Limit, error) {
	names, err := servedNames(ctx, tx, id, p)
	if err != nil {
		return nil, err
	}
	var out []limit.Limit
	for _, l := range p.Limits {
		if sampled(l) && slices.Contains(names, l.Name) {
			out = append(out, l)
		}
	}
	return out, nil
}

// unreadLots: lots of the limit's products made after the instrument's last
// reading before the window and before its first one after it, of which no
// instrument took a reading for the limit.
const unreadLots = `
with kind as (select array(select context_id from reading_context where plant_id = $1 and limit_name = $5) as of_limit),
edge as (select
  coalesce((select r.taken_at from reading r where r.plant_id = $1 and r.instrument_id = $2
    and r.taken_at <= $3 and r.context_id = any((select of_limit from kind)::int[]) order by r.taken_at desc limit 1), '-infinity') as since,
  coalesce((select r.taken_at from reading r where r.plant_id = $1 and r.instrument_id = $2
    and r.taken_at > $4 and r.context_id = any((select of_limit from kind)::int[]) order by r.taken_at limit 1), 'infinity') as upto)
select l.lot_id from lot l join product p using (plant_id, product_id), edge, kind
where l.plant_id = $1 and p.code = any($6)
  and coalesce(l.made_until, l.made_at, l.made_from) > edge.since and coalesce(l.made_from, l.made_at) < edge.upto
  and not exists (select from lot_span s join reading r on r.plant_id = $1 and r.instrument_id = s.instrument_id
      and r.taken_at >= s.first_at and r.taken_at <= s.last_at and r.lot_id = s.lot_id and r.context_id = any(of_limit)
    where s.plant_id = $1 and s.lot_id = l.lot_id)
order by 1`

// unread returns the lots made under one of the instrument's discrete limits
// around a window that no reading under it names, by limit.
func unread(ctx context.Context, tx *pg.Tx, id instrument.ID, after, until int64, p sitePolicy) (map[string][]lot.ID, error) {
	limits, err := discrete(ctx, tx, id, p)
	if err != nil {
		return nil, err
	}
	out := map[string][]lot.ID{}
	for _, l := range limits {
		var lots []lot.ID
		err := tx.SelectContext(ctx, &lots, unreadLots, tx.Plant, id, moment(after), moment(until), l.Name, pq.Array(l.AppliesTo.Products))
		if err != nil {
			return nil, fmt.Errorf("lots without a reading for %s: %w", l.Name, err)
		}
		if len(lots) > 0 {
			out[l.Name] = append(out[l.Name], lots...)
		}
	}
	return out, nil
}

// touchMade: a lot that somebody registers may have been made, without a reading
// of its own, between readings in doubt. The times are wider than any that
// count: a trace too many finds nothing new.
func touchMade(ctx context.Context, tx *pg.Tx, codes []string) error {
	if err := touchLots(ctx, tx, codes); err != nil {
		return err
	}
	limits, products, err := sampledLimits(ctx, tx)
	if err != nil {
		return err
	}
	const q = due + `deviation_id in (select w.deviation_id from deviation_window w
		join limit_span s on s.plant_id = $1 and s.instrument_id = w.instrument_id
		join unnest($4::text[], $5::text[]) as of(limit_name, product) on of.limit_name = s.limit_name
		join product p on p.plant_id = $1 and p.code = of.product
		join lot l on l.plant_id = $1 and l.product_id = p.product_id and l.code = any($3)
		where w.plant_id = $1 and tstzrange(coalesce(l.made_from, l.made_at), coalesce(l.made_until, l.made_at), '[]')
			&& tstzrange(lower(w.span) - interval '1 day', upper(w.span) + interval '1 day', '[]'))`
	_, err = tx.ExecContext(ctx, q, tx.Plant, tx.Now, pq.Array(codes), pq.Array(limits), pq.Array(products))
	return err
}

// sampledLimits returns the limits that do not have a record of every lot, each
// with each of its products.
func sampledLimits(ctx context.Context, tx *pg.Tx) (limits, products []string, err error) {
	p, err := currentPolicy(ctx, tx)
	var none *fault.Error
	switch {
	case errors.As(err, &none) && none.Rule == "no-policy":
		return nil, nil, nil // nothing is a limit
	case err != nil:
		return nil, nil, err
	}
	for _, l := range p.Limits {
		for _, product := range l.AppliesTo.Products {
			if sampled(l) {
				limits, products = append(limits, l.Name), append(products, product)
			}
		}
	}
	return limits, products, nil
}

// line is a place at which readings for a limit are taken; 0: none named.
type line struct {
	limit    string
	location int32
}

// Readings for a limit that are not in doubt: by other instruments that passed a
// check before, but for those that were themselves in doubt then or will be when
// a cascade is confirmed, and by the instrument itself outside its window.
const goodReadings = `
select c.location_id, r.taken_at from limit_span s
join reading r on r.plant_id = $1 and r.instrument_id = s.instrument_id and r.taken_at >= s.first_at and r.taken_at <= s.last_at
  and r.taken_at >= $3 and r.taken_at <= $4
join reading_context c on c.plant_id = $1 and c.context_id = r.context_id and c.limit_name = $2
where s.plant_id = $1 and s.limit_name = $2 and case when s.instrument_id = $5
  then r.taken_at <= coalesce($6, '-infinity'::timestamptz) or r.taken_at > coalesce($7, 'infinity'::timestamptz)
  else not exists (select from deviation_window w where w.plant_id = $1 and w.instrument_id = s.instrument_id
      and w.span @> r.taken_at)
    and not exists (select from cascade_window w join cascade k using (plant_id, cascade_id)
      where w.plant_id = $1 and w.instrument_id = s.instrument_id and w.span @> r.taken_at and k.state = 'pending')
    and exists (select from accuracy_check c where c.plant_id = $1 and c.instrument_id = s.instrument_id
      and c.performed_at <= r.taken_at and c.left_verdict = 'pass' and not c.unusable and not c.left_unknown) end
order by 1, 2`

// loadUnread reads when instruments that are not in doubt read at the lines of
// the lots that no reading names.
func (e *evidence) loadUnread(ctx context.Context, tx *pg.Tx) error {
	e.good = map[line][]int64{}
	for _, name := range slices.Sorted(maps.Keys(e.unread)) {
		since, upto := e.madeAround(e.unread[name])
		var rows []struct {
			Location int32     `db:"location_id"`
			At       time.Time `db:"taken_at"`
		}
		if err := tx.SelectContext(ctx, &rows, goodReadings, tx.Plant, name, since, upto, e.in.ID, moment(e.after), moment(e.until)); err != nil {
			return fmt.Errorf("readings not in doubt for %s: %w", name, err)
		}
		for _, r := range rows {
			at := line{name, r.Location}
			e.good[at] = append(e.good[at], r.At.UnixMicro())
		}
		if err := e.digest.add(name, e.unread[name], rows); err != nil {
			return err
		}
	}
	return e.loadCleanouts(ctx, tx)
}

// lookAround is how long before and after the lots that no reading names other
// readings are looked for. Farther away there may be one that would end the
// doubt sooner; without it the doubt is larger, never smaller.
const lookAround = 24 * time.Hour

func (e *evidence) madeAround(lots []lot.ID) (since, upto time.Time) {
	first, last := int64(math.MaxInt64), int64(math.MinInt64)
	for _, id := range lots {
		from, until := e.madeWhen(id)
		first, last = min(first, from), max(last, until)
	}
	return bounded(first).Add(-lookAround), bounded(last).Add(lookAround)
}

// madeWhen is when a lot was made [µs]: a moment, or from … until.
func (e *evidence) madeWhen(id lot.ID) (from, until int64) {
	l := e.lots[id]
	first := func(times ...*time.Time) int64 {
		for _, t := range times {
			if t != nil {
				return t.UnixMicro()
			}
		}
		return e.opening.at()
	}
	return first(l.MadeFrom, l.MadeAt), first(l.MadeUntil, l.MadeAt, l.MadeFrom)
}

// between returns the items of the lots that no reading names.
func (e *evidence) between(groups []group) []item {
	var out []item
	for _, name := range slices.Sorted(maps.Keys(e.unread)) {
		lines := e.lines(name, groups)
		for _, id := range e.unread[name] {
			if e.onException(name) { // an alarm in one lot says nothing of the others
				_, until := e.madeWhen(id)
				out = append(out, item{lot: id, limit: name, via: "between", end: until})
			} else if it, doubted := e.vouchedFor(id, name, lines); doubted {
				out = append(out, it)
			}
		}
	}
	return out
}

// onException says whether only exceptions are recorded under a limit.
func (e *evidence) onException(name string) bool {
	return slices.ContainsFunc(e.policy.Limits, func(l limit.Limit) bool { return l.Name == name && l.Monitoring == limit.OnException })
}

// doubtful is the readings of the instrument in doubt at one line, in order of
// time.
type doubtful []doubtfulReading

type doubtfulReading struct {
	at    int64
	value float64
	scale unit.Scale
	void  string // why it is not believed; empty: it is
}

// lines gathers the readings of the window for a limit by the place where they
// were taken, whatever lot they name.
func (e *evidence) lines(name string, groups []group) map[int32]doubtful {
	out := map[int32]doubtful{}
	for _, g := range groups {
		if g.limit != name {
			continue
		}
		s := e.record[g]
		for i, at := range s.at {
			off := e.clock.bound(at, at)
			if at+off > e.after && at-off <= e.until {
				out[g.location] = append(out[g.location], doubtfulReading{at, s.value[i], g.scale, s.void[i]})
			}
		}
	}
	for _, d := range out {
		slices.SortStableFunc(d, func(a, b doubtfulReading) int { return cmp.Compare(a.at, b.at) })
	}
	return out
}

// vouchedFor puts together the readings in doubt that vouch for a lot. Doubted is
// false if readings that are not in doubt stand on both sides of it and none in
// doubt between them; a clean-out stands for a reading on one of the sides. It is
// false, too, of a lot from outside the window that clean-outs part from it.
func (e *evidence) vouchedFor(id lot.ID, name string, lines map[int32]doubtful) (it item, doubted bool) {
	from, until := e.madeWhen(id)
	it = item{lot: id, limit: name, via: "between", end: until}
	parts := map[unit.Scale]*stretch{}
	for _, place := range slices.Sorted(maps.Keys(lines)) {
		for _, r := range lines[place].around(from, until, e.good[line{name, place}], e.cleaned[place]) {
			if parts[r.scale] == nil {
				parts[r.scale] = &stretch{}
			}
			parts[r.scale].at, parts[r.scale].value = append(parts[r.scale].at, r.at), append(parts[r.scale].value, r.value)
			if r.void != "" {
				parts[r.scale].disbelieve(r.void)
			}
		}
	}
	it.oneSided = !e.bothSides(name, from, until, lines)
	for _, scale := range slices.Sorted(maps.Keys(parts)) {
		it.parts = append(it.parts, part{scale, parts[scale], 0, len(parts[scale].at)})
	}
	return it, len(it.parts) > 0 || !e.vouchedByGood(name, from, until) && !e.apart(from, until, lines)
}

// bothSides says whether at some line readings, in doubt or not, stand before and
// after a lot, or on one side, and on the other the line was cleaned out.
func (e *evidence) bothSides(name string, from, until int64, lines map[int32]doubtful) bool {
	places := map[int32]bool{}
	for l := range e.good {
		places[l.location] = places[l.location] || l.limit == name
	}
	for place := range lines {
		places[place] = true
	}
	for place, is := range places {
		good, d := e.good[line{name, place}], lines[place]
		times := make([]int64, len(d))
		for i, r := range d {
			times[i] = r.at
		}
		run := e.cleaned[place].around(from, until)
		if is && (run.closes(good, from, until) || run.closes(times, from, until)) ||
			is && (run.before(good, from) || run.before(times, from)) && (run.after(good, until) || run.after(times, until)) {
			return true
		}
	}
	return false
}

// around returns the readings that vouch for product made from … until: the
// last before, the first after and those in between, no farther than the
// nearest readings that are not in doubt and the nearest clean-outs.
func (d doubtful) around(from, until int64, good []int64, cleaned cleanouts) doubtful {
	before, _ := slices.BinarySearch(good, from+1) // good[before-1] is the last at or before from
	after, _ := slices.BinarySearch(good, until)
	lo, hi := int64(math.MinInt64), int64(math.MaxInt64)
	if before > 0 {
		lo = good[before-1]
	}
	if after < len(good) {
		hi = good[after]
	}
	run := cleaned.around(from, until)
	i, _ := slices.BinarySearchFunc(d, from+1, func(r doubtfulReading, t int64) int { return cmp.Compare(r.at, t) })
	j, _ := slices.BinarySearchFunc(d, until, func(r doubtfulReading, t int64) int { return cmp.Compare(r.at, t) })
	i, j = max(i-1, 0), min(j+1, len(d))
	for i < j && (d[i].at <= lo || d[i].at < run.from) {
		i++
	}
	for j > i && (d[j-1].at >= hi || d[j-1].at > run.to) {
		j--
	}
	return d[i:j]
}

// vouchedByGood says whether at some line readings that are not in doubt stand
// before and after a lot, or on one side, and on the other the line was cleaned
// out.
func (e *evidence) vouchedByGood(name string, from, until int64) bool {
	for l, good := range e.good {
		run := e.cleaned[l.location].around(from, until)
		if l.limit == name && (run.before(good, from) && run.after(good, until) || run.closes(good, from, until)) {
			return true
		}
	}
	return false
}
