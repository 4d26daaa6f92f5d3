package workflow

import (
	"context"
	"fmt"
	"math"
	"time"

	"github.com/lib/pq"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// evidence is everything that a trace run looks at, read in one moment.
type evidence struct {
	deviation Deviation
	in        instrument.Stored
	policy    sitePolicy
	history   instrument.History
	opening   opening
	doubt     *metrology.Doubt

	after, until int64 // the longest window
	lastGood     int   // index into history.Checks, −1 if there is none

	clock    clock // how the instrument's was wrong
	contexts map[int32]reading.Context
	seen     map[int32]bool   // contexts of readings that matter
	places   map[int32]string // location codes
	mounted  []mounted        // where the instrument hung
	others   []mounted        // what else hung in those places
	stays    []stay
	lots     map[lot.ID]lot.Stored
	edges    map[lot.ID][]lot.ID
	unread   map[string][]lot.ID // lots that no reading for a limit names, by limit
	good     map[line][]int64    // when readings that are not in doubt were taken there
	cleaned  map[int32]cleanouts // by place

	record      map[group]*stretch
	since, upto time.Time // when its readings matter
	seconds     []secondInstrument
	readings    int64
	unmatched   int64
	digest      *digester

	last reading.Taken // the reading filed last
	to   *stretch      // where it went, nil if nowhere
}

// mounted is a time for which the instrument hung in a place [µs].
type mounted struct {
	location int32
	from, to int64
}

// stay is a time that a lot was in a place [µs].
type stay struct {
	lot      lot.ID
	location int32
	from, to int64 // to is math.MaxInt64 while it is still there
	slack    int64 // readings so long before and after may have been taken during it
}

// group is what readings of one instrument have in common: the lot that they
// name, or else the place; the limit that they name; their unit.
type group struct {
	lot      lot.ID
	location int32
	limit    string
	scale    unit.Scale
}

// stretch is the readings of a group, in order of time.
type stretch struct {
	at    []int64
	value []float64
	ahead []int64        // what was taken out of at; nil: nothing
	void  map[int]string // the readings, by index, that are not believed, and why
}

// gather reads the evidence of a deviation.
func gather(ctx context.Context, tx *pg.Tx, id DeviationID) (*evidence, error) {
	d, err := getDeviation(ctx, tx, id, "")
	if err != nil {
		return nil, err
	}
	e := newEvidence(d)
	if e.policy, err = currentPolicy(ctx, tx); err != nil {
		return nil, err
	}
	if err := e.loadOpening(ctx, tx); err != nil {
		return nil, fmt.Errorf("trace of deviation %d: %w", id, err)
	}
	if err := e.collect(ctx, tx); err != nil {
		return nil, fmt.Errorf("trace of deviation %d: %w", id, err)
	}
	return e, nil
}

func newEvidence(d Deviation) *evidence {
	return &evidence{deviation: d, record: map[group]*stretch{}, seen: map[int32]bool{}, digest: newDigester()}
}

// collect reads the evidence around an opening, be it of a deviation or a
// supposed one. The instrument, its history, the opening and the policy are
// known before.
func (e *evidence) collect(ctx context.Context, tx *pg.Tx) error {
	for _, step := range []func(context.Context, *pg.Tx) error{e.loadClock, e.boundError, e.loadPlaces, e.loadLots, e.loadUnread, e.loadReadings, e.loadSeconds} {
		if err := step(ctx, tx); err != nil {
			return err
		}
	}
	return e.boundUse()
}

// loadError works out the window and the bounds of the error of a deviation.
func (e *evidence) loadError(ctx context.Context, tx *pg.Tx) error {
	if err := e.loadOpening(ctx, tx); err != nil {
		return err
	}
	return e.boundError(ctx, tx)
}

// loadOpening reads the instrument, its history, and what in it opened the
// deviation.
func (e *evidence) loadOpening(ctx context.Context, tx *pg.Tx) (err error) {
	if e.in, err = instrument.Get(ctx, tx, e.deviation.Instrument); err != nil {
		return err
	}
	if e.history, err = instrument.LoadHistory(ctx, tx, e.in); err != nil {
		return err
	}
	found := false
	for _, o := range openings(e.history) {
		if e.deviation.isOf(o) {
			e.opening, found = o, true
		}
	}
	if !found { // later evidence made another check the first to fail: this one still opened the case
		if e.opening, found = openedBy(e.history, e.deviation); !found {
			return fmt.Errorf("the check that opened it is not there")
		}
	}
	return nil
}

// boundError works out the window and the bounds of the error around the
// opening.
func (e *evidence) boundError(ctx context.Context, tx *pg.Tx) (err error) {
	if e.doubt, err = doubtOf(e.in, e.history, e.opening, e.policy); err != nil {
		return err
	}
	served, err := servedLimits(ctx, tx, e.in.ID, e.policy)
	if err != nil {
		return err
	}
	e.after, e.until, e.lastGood = widest(e.doubt, served)
	return e.digest.add(e.in, e.history, e.policy.Source)
}

func openedBy(h instrument.History, d Deviation) (opening, bool) {
	for _, o := range timeline(h) {
		if d.opened(o) {
			return o, true
		}
	}
	return opening{}, false
}

// loadPlaces reads where the instrument hung and read, and which lots were
// there.
func (e *evidence) loadPlaces(ctx context.Context, tx *pg.Tx) (err error) {
	if e.contexts, err = reading.Contexts(ctx, tx); err != nil {
		return err
	}
	var codes []struct {
		ID   int32  `db:"location_id"`
		Code string `db:"code"`
	}
	if err := tx.SelectContext(ctx, &codes, `select location_id, code from location where plant_id = $1`, tx.Plant); err != nil {
		return err
	}
	e.places = map[int32]string{}
	for _, c := range codes {
		e.places[c.ID] = c.Code
	}
	if e.mounted, err = mountingsOf(ctx, tx, e.in.ID); err != nil {
		return err
	}
	if err := e.digest.add(fmt.Sprint(e.mounted)); err != nil {
		return err
	}
	if err := e.loadOthers(ctx, tx); err != nil {
		return err
	}
	return e.loadStays(ctx, tx)
}

// mountingsOf returns where an instrument hung.
func mountingsOf(ctx context.Context, tx *pg.Tx, id instrument.ID) ([]mounted, error) {
	var hung []struct {
		Location int32      `db:"location_id"`
		From     time.Time  `db:"mounted_from"`
		To       *time.Time `db:"mounted_to"`
	}
	const q = `select location_id, mounted_from, mounted_to from mounting where plant_id = $1 and instrument_id = $2 order by mounted_from, location_id`
	if err := tx.SelectContext(ctx, &hung, q, tx.Plant, id); err != nil {
		return nil, fmt.Errorf("mountings: %w", err)
	}
	var out []mounted
	for _, m := range hung {
		out = append(out, mounted{m.Location, m.From.UnixMicro(), orEver(m.To)})
	}
	return out, nil
}

// loadOthers reads which other instruments hung where this one did.
func (e *evidence) loadOthers(ctx context.Context, tx *pg.Tx) error {
	const q = `select location_id, mounted_from, mounted_to from mounting m where plant_id = $1 and instrument_id <> $2
		and location_id in (select location_id from mounting where plant_id = $1 and instrument_id = $2)
		order by location_id, mounted_from, instrument_id`
	var hung []struct {
		Location int32      `db:"location_id"`
		From     time.Time  `db:"mounted_from"`
		To       *time.Time `db:"mounted_to"`
	}
	if err := tx.SelectContext(ctx, &hung, q, tx.Plant, e.in.ID); err != nil {
		return err
	}
	for _, m := range hung {
		e.others = append(e.others, mounted{m.Location, m.From.UnixMicro(), orEver(m.To)})
	}
	return e.digest.add(hung)
}

func orEver(t *time.Time) int64 {
	if t == nil {
		return math.MaxInt64
	}
	return t.UnixMicro()
}

// loadStays reads the stays, in the window, where the instrument hung or read.
func (e *evidence) loadStays(ctx context.Context, tx *pg.Tx) error {
	const q = `
with place as (
  select location_id from location_span where plant_id = $1 and instrument_id = $2
  union select location_id from mounting where plant_id = $1 and instrument_id = $2)
select lot_id, location_id, stayed_from, stayed_to from stay join place using (location_id)
where plant_id = $1 and stayed_from <= coalesce($4, 'infinity'::timestamptz)
  and coalesce(stayed_to, 'infinity') >= coalesce($3, '-infinity'::timestamptz)
order by lot_id, location_id, stayed_from`
	var rows []struct {
		Lot      lot.ID     `db:"lot_id"`
		Location int32      `db:"location_id"`
		From     time.Time  `db:"stayed_from"`
		To       *time.Time `db:"stayed_to"`
	}
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, e.in.ID, moment(plus(e.after, -e.clock.reach())), moment(plus(e.until, e.clock.reach()))); err != nil {
		return err
	}
	for _, r := range rows {
		e.stays = append(e.stays, stay{r.Lot, r.Location, r.From.UnixMicro(), orEver(r.To), 0})
	}
	return e.digest.add(rows)
}

// loadLots reads the lots in doubt and what was made of them.
func (e *evidence) loadLots(ctx context.Context, tx *pg.Tx) (err error) {
	ids, unread, err := suspects(ctx, tx, e.in.ID, e.after, e.until, e.policy)
	if err != nil {
		return err
	}
	e.unread = unread
	if e.edges, err = lot.Edges(ctx, tx, ids); err != nil {
		return err
	}
	all := append([]lot.ID{}, ids...)
	for from, to := range e.edges {
		all = append(append(all, from), to...)
	}
	if e.lots, err = lot.Get(ctx, tx, all); err != nil {
		return err
	}
	return e.digest.add(e.lots, e.edges)
}

// loadReadings streams the readings of the window, and those before and after
// it that belong to lots and stays across its edges.
func (e *evidence) loadReadings(ctx context.Context, tx *pg.Tx) error {
	since, upto, err := e.extent(ctx, tx)
	if err != nil {
		return err
	}
	e.since, e.upto = since, upto
	list, err := e.hear(ctx, tx, e.in.ID, e.clock, since, upto)
	if err != nil {
		return err
	}
	for r, err := range list {
		if err != nil {
			return err
		}
		e.fileHeard(r)
	}
	return nil
}

// file puts a reading where it belongs. Most belong where the one before does.
func (e *evidence) file(r reading.Taken) {
	e.readings++
	e.digest.reading(r)
	if e.to == nil || r.Lot == 0 || r.Lot != e.last.Lot || r.Context != e.last.Context {
		e.last, e.to = r, e.stretchOf(r)
	}
	if e.to != nil {
		e.to.add(r)
	} else if r.At > e.after && r.At <= e.until {
		e.unmatched++
	}
}

// stretchOf returns where a reading belongs, nil if nowhere.
func (e *evidence) stretchOf(r reading.Taken) *stretch {
	g, ok := e.groupOf(r)
	if !ok {
		return nil
	}
	e.seen[r.Context] = true
	return e.stretchFor(g)
}

func (e *evidence) stretchFor(g group) *stretch {
	if e.record[g] == nil {
		e.record[g] = &stretch{}
	}
	return e.record[g]
}

func (s *stretch) add(r reading.Taken) {
	s.at, s.value = append(s.at, r.At), append(s.value, r.Value)
	if r.Ahead != 0 || s.ahead != nil {
		s.ahead = append(s.ahead, make([]int64, len(s.at)-1-len(s.ahead))...)
		s.ahead = append(s.ahead, r.Ahead)
	}
}

func (e *evidence) groupOf(r reading.Taken) (group, bool) {
	c := e.contexts[r.Context]
	g := group{lot: r.Lot, location: c.LocationID, limit: c.LimitName, scale: c.Scale()}
	if r.Lot != 0 {
		_, suspect := e.lots[r.Lot]
		return g, suspect
	}
	if g.location == 0 {
		g.location = e.hungAt(r.At)
	}
	_, lends := e.unread[g.limit] // it may vouch for a lot that no reading names
	return g, g.location != 0 || lends
}

// hungAt returns where the instrument hung at a time, 0 if nowhere.
func (e *evidence) hungAt(at int64) int32 { return placeAt(e.mounted, at) }

func placeAt(hung []mounted, at int64) int32 {
	for _, m := range hung {
		if at >= m.from && at <= m.to {
			return m.location
		}
	}
	return 0
}

// extent returns from when to when the instrument's readings matter.
func (e *evidence) extent(ctx context.Context, tx *pg.Tx) (since, upto time.Time, err error) {
	var ids []lot.ID
	for id := range e.lots {
		ids = append(ids, id)
	}
	var span struct {
		First *time.Time `db:"first_at"`
		Last  *time.Time `db:"last_at"`
	}
	const q = `select min(first_at) as first_at, max(last_at) as last_at from lot_span
		where plant_id = $1 and instrument_id = $2 and lot_id = any($3)`
	if err := tx.GetContext(ctx, &span, q, tx.Plant, e.in.ID, pq.Array(ids)); err != nil {
		return since, upto, err
	}
	from, to := e.after, e.until
	if span.First != nil {
		from, to = min(from, span.First.UnixMicro()-1), max(to, span.Last.UnixMicro())
	}
	for _, s := range e.stays {
		from, to = min(from, s.from-1), max(to, s.to)
	}
	return bounded(plus(from, -e.clock.reach())), bounded(plus(to, e.clock.reach())), nil
}

// earliest and latest bound every reading that is kept.
var (
	earliest = time.Date(1990, 1, 1, 0, 0, 0, 0, time.UTC)
	latest   = time.Date(2101, 1, 1, 0, 0, 0, 0, time.UTC)
)

func bounded(at int64) time.Time {
	return time.UnixMicro(min(max(at, earliest.UnixMicro()), latest.UnixMicro())).UTC()
}
