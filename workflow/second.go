package workflow

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/metrology"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// secondInstrument is another instrument that read lots in doubt, or where they were: what
// is known of its accuracy, and its readings.
type secondInstrument struct {
	in     instrument.Stored
	facts  metrology.Facts
	clock  clock
	record map[group]*stretch

	ofLot   map[lot.ID][]group // of the record, in a fixed order: by the lot that they name
	ofPlace map[int32][]group  // or by the place, where they name none
}

// witnessed is when another instrument read anything of use.
type witnessed struct {
	ID    instrument.ID `db:"instrument_id"`
	Code  string        `db:"code"`
	First time.Time     `db:"first_at"`
	Last  time.Time     `db:"last_at"`
}

// Only instruments that read for a limit that is of use: one that chills what
// the failed one cooked says nothing of the cook.
const secondInstruments = `
select i.instrument_id, i.code, min(x.first_at) as first_at, max(x.last_at) as last_at from (
  select instrument_id, first_at, last_at from lot_span where plant_id = $1 and lot_id = any($3)
  union all
  select instrument_id, greatest(first_at, $6), least(last_at, $7) from location_span
  where plant_id = $1 and location_id = any($4) and first_at <= $7 and last_at >= $6
  union all
  select instrument_id, greatest(mounted_from, $6), least(coalesce(mounted_to, 'infinity'), $7) from mounting
  where plant_id = $1 and location_id = any($4) and mounted_from <= $7 and coalesce(mounted_to, 'infinity') >= $6) x
join instrument i on i.plant_id = $1 and i.instrument_id = x.instrument_id
where x.instrument_id <> $2 and exists (select from limit_span s
  where s.plant_id = $1 and s.instrument_id = x.instrument_id and s.limit_name = any($5))
group by i.instrument_id, i.code order by i.code`

// loadSeconds reads the other instruments that may vouch for the lots in doubt:
// under the same limits, or under those of a kill step.
func (e *evidence) loadSeconds(ctx context.Context, tx *pg.Tx) error {
	var found []witnessed
	lots := slices.Sorted(maps.Keys(e.lots))
	err := tx.SelectContext(ctx, &found, secondInstruments, tx.Plant, e.in.ID, pq.Array(lots), pq.Array(e.stayedIn()),
		pq.Array(e.usefulLimits()), e.since, e.upto)
	if err != nil {
		return fmt.Errorf("second instruments: %w", err)
	}
	for _, w := range found {
		s, err := e.loadSecond(ctx, tx, w)
		if err != nil {
			return fmt.Errorf("second instrument %s: %w", w.Code, err)
		}
		if len(s.record) > 0 {
			e.seconds = append(e.seconds, s)
		}
	}
	return nil
}

// stayedIn returns the places in which lots in doubt stayed.
func (e *evidence) stayedIn() []int32 {
	var out []int32
	for _, s := range e.stays {
		out = append(out, s.location)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// usefulLimits are the limits that the instrument in doubt served, those of the
// steps that may clear their hazards, and readings that name none.
func (e *evidence) usefulLimits() []string {
	out := []string{""}
	for g := range e.record {
		if g.limit != "" {
			out = append(out, g.limit)
		}
	}
	for _, l := range e.policy.Limits {
		out = append(out, e.policy.ClearedBy(l.Hazard)...)
		if len(l.AppliesTo.Products)+len(l.AppliesTo.Locations) > 0 {
			out = append(out, l.Name)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// loadSecond reads one instrument's accuracy and what it read of the lots in
// doubt and in the places where they stayed.
func (e *evidence) loadSecond(ctx context.Context, tx *pg.Tx, w witnessed) (s secondInstrument, err error) {
	s.record = map[group]*stretch{}
	if s.in, err = instrument.Get(ctx, tx, w.ID); err != nil {
		return s, err
	}
	h, err := instrument.LoadHistory(ctx, tx, s.in)
	if err != nil {
		return s, err
	}
	known, err := instrument.LoadClock(ctx, tx, s.in.ID)
	if err != nil {
		return s, err
	}
	s.clock = clock(known)
	hung, err := mountingsOf(ctx, tx, s.in.ID)
	if err != nil {
		return s, err
	}
	if err := e.digest.add(s.in, h, fmt.Sprint(hung), known); err != nil {
		return s, err
	}
	seen, err := e.fileSecond(ctx, tx, &s, w, hung)
	s.sort()
	in, _ := e.coarsened(s.in, seen)
	s.facts = accuracyOf(in, h, e.policy)
	return s, err
}

// fileSecond files what another instrument read of the lots in doubt, what is in
// quarantine as gaps, and returns in which contexts.
func (e *evidence) fileSecond(ctx context.Context, tx *pg.Tx, s *secondInstrument, w witnessed, hung []mounted) (map[int32]bool, error) {
	reach := time.Duration(s.clock.reach()) * time.Microsecond
	places, seen := e.stayedIn(), map[int32]bool{}
	list, err := e.hear(ctx, tx, s.in.ID, s.clock, w.First.Add(-reach-time.Microsecond), w.Last.Add(reach))
	if err != nil {
		return nil, err
	}
	for r, err := range list {
		if err != nil {
			return nil, err
		}
		g, ok := e.secondGroup(r.Taken, hung, places)
		if !ok {
			continue
		}
		e.digest.reading(r.Taken)
		seen[r.Context] = true
		if s.record[g] == nil {
			s.record[g] = &stretch{}
		}
		s.record[g].add(r.Taken)
		if r.void != "" {
			s.record[g].disbelieve(r.void)
		}
	}
	return seen, nil
}

// secondGroup returns where another instrument's reading belongs; false if it
// says nothing of the lots in doubt.
func (e *evidence) secondGroup(r reading.Taken, hung []mounted, places []int32) (group, bool) {
	c := e.contexts[r.Context]
	g := group{lot: r.Lot, location: c.LocationID, limit: c.LimitName, scale: c.Scale()}
	if r.Lot != 0 {
		_, known := e.lots[r.Lot]
		return g, known
	}
	if g.location == 0 {
		g.location = placeAt(hung, r.At)
	}
	_, wanted := slices.BinarySearch(places, g.location)
	return g, wanted
}

// sort makes the groups of the record be found by lot and place: a trace asks for
// every lot.
func (s *secondInstrument) sort() {
	s.ofLot, s.ofPlace = map[lot.ID][]group{}, map[int32][]group{}
	for _, g := range groupsOf(s.record) {
		if g.lot != 0 {
			s.ofLot[g.lot] = append(s.ofLot[g.lot], g)
		} else {
			s.ofPlace[g.location] = append(s.ofPlace[g.location], g)
		}
	}
}

// itemFor puts together what the second instrument read of a lot for a limit, at
// the step of another item.
func (s secondInstrument) itemFor(e *evidence, it item, limitName string) item {
	out := item{lot: it.lot, limit: limitName, via: it.via, location: it.location, start: it.start, end: it.end}
	groups := s.ofLot[it.lot]
	if it.location != 0 {
		groups = slices.Concat(groups, s.ofPlace[it.location])
	}
	for _, g := range groups {
		st := s.record[g]
		from, to := 0, len(st.at)
		if g.lot == 0 {
			from, to = st.between(it.start, it.end)
		}
		if from < to && slices.Contains(e.limitsFor(g.limit, it.lot, g.location), limitName) {
			out.parts = append(out.parts, part{g.scale, st, from, to})
		}
	}
	return out
}

// references are the standards that the checks around the window hang on, up to
// the one that bounds it: what hangs on the same one proves nothing about it. A
// comparison of which nobody says with what is told as an empty name.
func (e *evidence) references() []string {
	var out []string
	for i, c := range e.history.Checks {
		if i < e.lastGood {
			continue
		}
		for _, p := range c.Points {
			if p.ReferenceID != "" || p.Kind == string(instrument.Comparison) {
				out = append(out, p.ReferenceID)
			}
		}
		if c.At >= e.until && c.At > e.opening.at() {
			break
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
