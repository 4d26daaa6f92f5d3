package workflow

import (
	"cmp"
	"math"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
	"lastgood/workflow/lot"
)

// item is one lot under one limit with the readings that vouch for it.
type item struct {
	lot      lot.ID
	limit    string
	via      string
	oneSided bool // readings vouch for the lot, and none stands before it, or none after
	// location is where a lot stayed whose readings do not name it; 0: they do.
	location int32
	parts    []part // of the record; more than one where the unit changed
	// start and end [µs] are what the record must cover; 0: no bound known.
	start, end int64
	// stay numbers the stay of which this is one way that it may have been, as
	// the clock leaves open; 0: there is one way.
	stay int
}

// part is a piece of a stretch.
type part struct {
	scale unit.Scale
	*stretch
	from, to int // indexes, [from, to)
}

// judgeAll judges every lot in doubt under every limit that its readings are
// for, in order of lot code and limit.
func (e *evidence) judgeAll() ([]Assessment, error) {
	worst := map[[2]string]int{}
	var out []Assessment
	items := e.items()
	all, err := e.judgeEach(items)
	if err != nil {
		return nil, err
	}
	eitherWay(items, all)
	over := map[[2]string]int64{}
	for i, it := range items {
		key := [2]string{all[i].Lot, it.limit}
		over[key] = max(over[key], e.overAt(it))
	}
	for _, j := range all {
		if !j.doubted {
			continue
		}
		a := j.Assessment
		key := [2]string{a.Lot, a.Limit}
		a.OverAt = over[key]
		if i, dup := worst[key]; dup { // two stays of one lot: the worse one decides
			if out[i].Result.Verdict.LessGrave(a.Result.Verdict) {
				out[i] = a
			}
			continue
		}
		worst[key] = len(out)
		out = append(out, a)
	}
	slices.SortFunc(out, func(a, b Assessment) int {
		return cmp.Or(cmp.Compare(a.Lot, b.Lot), cmp.Compare(a.Limit, b.Limit))
	})
	return out, nil
}

// judged is what became of an item.
type judged struct {
	Assessment
	doubted bool
}

// judgeEach judges items on every core: it is most of what a trace costs, and
// no item knows of another.
func (e *evidence) judgeEach(items []item) ([]judged, error) {
	out, errs := make([]judged, len(items)), make([]error, len(items))
	var next atomic.Int64
	var all sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(items)) {
		all.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(items); i = int(next.Add(1)) - 1 {
				out[i].Assessment, out[i].doubted, errs[i] = e.judge(items[i])
			}
		})
	}
	all.Wait()
	return out, cmp.Or(errs...)
}

// items puts the record together by lot and limit, in a fixed order.
func (e *evidence) items() []item {
	var out []item
	groups := e.groups()
	for _, g := range groups {
		if g.lot != 0 {
			s := e.record[g]
			out = e.addNamed(out, g, part{g.scale, s, 0, len(s.at)})
		}
	}
	for n, s := range e.stays {
		for _, way := range e.clock.stays(s) {
			for _, it := range e.placed(way, groups) {
				if e.clock.bound(s.from, s.to) > 0 {
					it.stay = n + 1
				}
				out = append(out, it)
			}
		}
	}
	return append(out, e.between(groups)...)
}

func (e *evidence) groups() []group { return groupsOf(e.record) }

// groupsOf returns the groups of a record in a fixed order.
func groupsOf(record map[group]*stretch) []group {
	var gs []group
	for g := range record {
		gs = append(gs, g)
	}
	slices.SortFunc(gs, func(a, b group) int {
		return cmp.Or(cmp.Compare(a.lot, b.lot), cmp.Compare(a.location, b.location), cmp.Compare(a.limit, b.limit), cmp.Compare(a.scale, b.scale))
	})
	return gs
}

// addNamed adds readings that name a lot to its items.
func (e *evidence) addNamed(out []item, g group, p part) []item {
	for _, name := range e.limitsFor(g.limit, g.lot, g.location) {
		i := len(out) - 1
		for i >= 0 && out[i].lot == g.lot && out[i].limit != name { // groups of one lot follow each other
			i--
		}
		if i >= 0 && out[i].lot == g.lot {
			out[i].parts = append(out[i].parts, p)
			continue
		}
		from, until := e.made(g.lot)
		out = append(out, item{lot: g.lot, limit: name, via: "reading", parts: []part{p}, start: from, end: until})
	}
	return out
}

// made returns from when to when a lot was made, 0 where nobody says: what a
// continuous record of it must cover, as far as the window reaches.
func (e *evidence) made(id lot.ID) (from, until int64) {
	l := e.lots[id]
	if l.MadeFrom != nil {
		from = l.MadeFrom.UnixMicro()
	}
	if l.MadeUntil != nil {
		until = min(l.MadeUntil.UnixMicro(), e.until)
	}
	return from, max(from, until)
}

// placed returns the items of a lot that was where the instrument hung or read.
func (e *evidence) placed(s stay, groups []group) []item {
	from, to, via := e.together(s)
	byLimit := map[string]*item{}
	var order []string
	get := func(name string) *item {
		if byLimit[name] == nil {
			byLimit[name] = &item{lot: s.lot, limit: name, via: via, location: s.location, start: from, end: to}
			order = append(order, name)
		}
		return byLimit[name]
	}
	for _, g := range groups {
		if g.lot != 0 || g.location != s.location {
			continue
		}
		st := e.record[g]
		a, b := st.between(plus(s.from, -s.slack), plus(s.to, s.slack))
		if a == b {
			continue
		}
		for _, name := range e.limitsFor(g.limit, s.lot, s.location) {
			it := get(name)
			it.parts = append(it.parts, part{g.scale, st, a, b})
		}
	}
	if len(order) == 0 && via == "mounting" { // it hung there and said nothing: that is a gap, not an absence
		for _, name := range e.limitsFor("", s.lot, s.location) {
			get(name)
		}
	}
	out := make([]item, len(order))
	for i, name := range order {
		out[i] = *byLimit[name]
	}
	return out
}

// between returns the indexes of the readings taken in [from, to].
func (s *stretch) between(from, to int64) (a, b int) {
	a, _ = slices.BinarySearch(s.at, from)
	if to == math.MaxInt64 {
		return a, len(s.at)
	}
	b, _ = slices.BinarySearch(s.at, to+1)
	return a, b
}

// together returns the time of a stay that the instrument's record must cover: no
// longer than the window, and no longer than the failed check where both still
// go on. It ends sooner, or begins later, only where another instrument hung
// there instead; a logger that was taken away leaves a gap.
func (e *evidence) together(s stay) (from, to int64, via string) {
	from, to, via = s.from, min(s.to, e.until), "stay"
	first, last := int64(math.MaxInt64), int64(math.MinInt64)
	for _, m := range e.mounted {
		if m.location == s.location && m.from <= s.to && m.to >= s.from {
			first, last, via = min(first, m.from), max(last, m.to), "mounting"
		}
	}
	if via == "mounting" && e.watched(s.location, first) {
		from = max(from, first)
	}
	if via == "mounting" && e.watched(s.location, last) {
		to = min(to, last)
	}
	if to == math.MaxInt64 {
		to = e.doubt.FailedAt
	}
	return from, max(from, to), via
}

// watched says whether another instrument hung in a place at a time.
func (e *evidence) watched(location int32, at int64) bool {
	return slices.ContainsFunc(e.others, func(m mounted) bool { return m.location == location && m.from <= at && at <= m.to })
}

// limitsFor returns the names of the limits that readings are for: the one that
// they name, else those that apply to the lot's product or to the place, else
// none, told as an empty name.
func (e *evidence) limitsFor(named string, id lot.ID, location int32) []string {
	if named != "" {
		return []string{named}
	}
	var out []string
	product := ""
	if p := e.lots[id].Product; p != nil {
		product = *p
	}
	for _, l := range e.policy.Limits {
		applies := slices.Contains(l.AppliesTo.Products, product) || location != 0 && slices.Contains(l.AppliesTo.Locations, e.places[location])
		if applies && !slices.Contains(out, l.Name) {
			out = append(out, l.Name)
		}
	}
	if len(out) == 0 {
		return []string{""}
	}
	return out
}

// judge judges one item. doubted is false if none of its readings is in doubt
// and it lacks none.
func (e *evidence) judge(it item) (a Assessment, doubted bool, err error) {
	a = Assessment{LotID: int64(it.lot), Lot: e.lots[it.lot].Code, Limit: it.limit, Via: it.via}
	l, ok := e.policy.InForce(it.limit, e.producedAt(it))
	if !ok {
		a.NoLastGood = e.lastGood < 0
		a.Result = limit.Result{Verdict: limit.Unknown, Readings: it.count(), Reasons: []string{noLimit(it.limit)}, Method: "limit/none@1"}
		return a, e.anyInWindow(it), nil
	}
	a.Text, a.Unit, a.Kind, a.Hazard, a.Monitoring = l.Text, l.Criterion.Scale().String(), l.Kind, l.Hazard, l.Monitoring
	after, _, lastGood := windowFor(e.doubt, l.Criterion)
	a.NoLastGood = lastGood < 0
	errs := windowed{e.doubt, after, e.clock}
	s := it.series(l)
	// The lot was there and nothing was recorded, at all or for longer than may be.
	// A probe that was carried there before and did not come back owes nothing.
	silent := len(s.Samples) == 0 && it.end > after || it.via != "stay" && l.Silent(s, after, e.until)
	if !silent && !e.inDoubt(s, errs) {
		return a, false, nil
	}
	a.Result, err = l.Evaluate(s, errs, limit.Onset{After: after, FailedAt: e.doubt.FailedAt, Event: e.doubt.Event, Model: e.policy.Onset})
	if err != nil {
		return a, true, err
	}
	if l.Monitoring == limit.OnException && (a.Result.Verdict == limit.Met || a.Result.Verdict == limit.Indeterminate) {
		// What the instrument did not report as out of limits it was not fit to
		// report.
		a.Result.Verdict, a.Result.ProbabilityMissed, a.Result.Probabilities = limit.Unknown, nil, nil
		alone(&a.Result)
		a.Result.Reasons = append(a.Result.Reasons, "only exceptions are recorded under this limit: readings that the instrument did not report show nothing")
	}
	if it.via == "between" && len(s.Samples) > 0 {
		a.Result.Reasons = append(a.Result.Reasons, "no reading names this lot: it is as good as the readings in doubt around it, up to the nearest that are not")
	}
	if it.oneSided && (a.Result.Verdict == limit.Met || a.Result.Verdict == limit.Indeterminate) {
		a.Result.Verdict, a.Result.ProbabilityMissed, a.Result.Probabilities = limit.Unknown, nil, nil
		alone(&a.Result)
		a.Result.Reasons = append(a.Result.Reasons, "no reading stands on the other side of this lot: nothing shows how long the step stayed as it was read")
	}
	a.Result.Reasons = append(a.Result.Reasons, it.disbelieved()...)
	return a, true, e.corroborated(&a, it, l, errs)
}

// alone says of the first reason that it tells only of the readings of the
// instrument in doubt, where something else has changed the verdict.
func alone(r *limit.Result) {
	if len(r.Reasons) > 0 {
		r.Reasons[0] = "by its readings alone: " + r.Reasons[0]
	}
}

// series returns the item's readings on the scale of its limit.
func (it item) series(l limit.Limit) series.Series {
	s := series.Series{Scale: l.Criterion.Scale(), Samples: make([]series.Sample, 0, it.count())}
	if it.via == "stay" || it.via == "mounting" || l.Monitoring == "continuous" {
		s.Start, s.End = it.start, it.end
	}
	for _, p := range it.parts {
		for i := p.from; i < p.to; i++ {
			if p.void != nil && p.void[i] != "" {
				s.Samples = append(s.Samples, series.Sample{At: p.at[i], T: unit.Unknown})
				continue
			}
			s.Samples = append(s.Samples, l.Sample(p.at[i], p.value[i], p.scale))
		}
	}
	series.Sort(s.Samples)
	return s
}

func noLimit(name string) string {
	if name == "" {
		return "no limit applies to what the instrument read for this lot"
	}
	return "the limit " + name + " was not in force when the lot was made"
}

func (it item) count() (n int) {
	for _, p := range it.parts {
		n += p.to - p.from
	}
	return n
}

// producedAt is the date that says which version of a limit counts: when the
// lot was made, else its first reading here.
func (e *evidence) producedAt(it item) time.Time {
	switch l := e.lots[it.lot]; {
	case l.MadeAt != nil:
		return *l.MadeAt
	case l.MadeFrom != nil:
		return *l.MadeFrom
	}
	first := int64(math.MaxInt64)
	for _, p := range it.parts {
		if p.from < p.to {
			first = min(first, p.at[p.from])
		}
	}
	if first == math.MaxInt64 {
		return e.deviation.FailedAt
	}
	return time.UnixMicro(first).UTC()
}

func (e *evidence) anyInWindow(it item) bool {
	for _, p := range it.parts {
		for _, at := range p.at[p.from:p.to] {
			if at > e.after && at <= e.until {
				return true
			}
		}
	}
	return it.count() == 0
}

// inDoubt says whether the error of any reading is in doubt.
func (e *evidence) inDoubt(s series.Series, errs windowed) bool {
	for _, x := range s.Samples {
		if x.T == unit.Unknown && errs.covers(x.At) {
			return true
		}
		if _, st := errs.At(x.At, unit.ToCelsius(x.T, s.Scale)); st != metrology.Trusted {
			return true
		}
	}
	return false
}

// windowed is the error of an instrument as it concerns one limit: before the
// window of the limit's own temperatures the instrument was good for it, and
// its readings stand as recorded.
type windowed struct {
	*metrology.Doubt
	after int64
	clock clock // of the instrument
}

// Reason is metrology.Doubt.Reason within the limit's window.
func (w windowed) Reason(at int64, x unit.Celsius) string {
	if len(w.clock) > 0 {
		at = w.when(at, x)
	}
	if at <= w.after {
		return ""
	}
	return w.Doubt.Reason(at, x)
}

// At is metrology.Doubt.At within the limit's window.
func (w windowed) At(at int64, x unit.Celsius) (metrology.Bounds, metrology.Standing) {
	if len(w.clock) > 0 {
		at = w.when(at, x)
	}
	return w.then(at, x)
}

// then is At for a time that is known.
func (w windowed) then(at int64, x unit.Celsius) (metrology.Bounds, metrology.Standing) {
	if at <= w.after {
		return metrology.Bounds{}, metrology.Trusted
	}
	return w.Doubt.At(at, x)
}
