package limit

import (
	"math"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// stage is one clock: from a temperature down to another within a time.
//
//	t = t(e) − t(s) ≤ time
//
//	s  last reading at or above the upper temperature before the first below it
//	   that follows one at or above                                       [µs]
//	e  first reading below the lower temperature after which none is at or
//	   above it again                                                     [µs]
//
// Range:    no reading at or above the upper temperature, or none below it
// afterwards: undecided. Product still at or above the lower temperature when
// the time is over: missed, even if the end was never seen.
// Assumes:  what lies before the first reading at or above the upper
// temperature is no part of the cooling.
// Source:   design of this engine; the clocks are those of FDA Food Code
// 3-501.14 as cold_limits.csv FC-COOL-001 and FC-COOL-002 have them. Read:
// second-hand, through that collection.
// Departs:  a clock starts and ends at readings, not at interpolated crossings:
// never shorter than it was. Over a gap, or a reading of which nothing is known,
// a miss counts only if it is one however late the clock started.
// Checked:  by hand, and against every path of small records, cooling_test.go.
type stage struct {
	from, to unit.Temperature
	time     int64 // [µs]
	gap      int64 // [µs]
}

// lastHole is the index of the last reading before which, or at which, the record
// is silent: a record is whole from i on if i ≥ lastHole and i is known. It is
// the number of readings if the record stops before the lot does.
func lastHole(s series.Series, gap int64) int {
	n := len(s.Samples)
	if n > 0 && s.End != 0 && s.End-s.Samples[n-1].At > gap {
		return n
	}
	for i := n - 1; i >= 0; i-- {
		if s.Samples[i].T == unit.Unknown || i > 0 && s.Samples[i].At-s.Samples[i-1].At > gap {
			return i
		}
	}
	return 0
}

// clocks is what a stage comes to over all paths between two series.
type clocks struct {
	worst, best       Decision
	longest, shortest int64 // [µs]; −1 where no clock can be told
}

// walk looks for every place where the clock can start. On a path, the readings
// up to the first at or above the upper temperature (m) are below it, those from
// m to s are at or above it, and the next known one (j) is below.
type walk struct {
	st        stage
	cold, hot []series.Sample
	hole      int

	must int // first reading at or above the upper temperature on every path
	lo   int // last reading at or above the lower temperature on the coldest path

	places            int   // where the clock can start
	first             place // of them
	anyHolds, allFail bool  // of the paths that start at one of them, each at its best
	noStart, noEnd    bool  // on some path the clock never starts, or is never left to run
	shortest          int64 // clock of all [µs]
}

// place is one possible start.
type place struct{ m, s, j int }

// over judges the stage over all paths between two series, unknown at the same
// places.
func (st stage) over(cold, hot []series.Sample, hole int) clocks {
	w := walk{st: st, cold: cold, hot: hot, hole: hole, allFail: true, shortest: math.MaxInt64}
	w.lo = last(cold, st.to.Value)
	w.starts()
	if w.places == 0 {
		return clocks{Undecided, Undecided, -1, -1}
	}
	hi := last(hot, st.to.Value)
	out := clocks{Undecided, Undecided, -1, -1}
	start := w.late(w.first)
	end := w.next(hi)
	fails := w.fails(start, hi)
	switch {
	case fails:
		out.worst = Fails
	case !w.noStart && !w.noEnd && end >= 0 && w.first.m >= hole:
		out.worst = Holds
	}
	switch {
	case w.anyHolds:
		out.best = Holds
	case w.allFail && !w.noStart && !w.noEnd:
		out.best = Fails
	}
	began := cold[w.first.s].At
	switch {
	case end >= 0:
		out.longest = cold[end].At - began
	case fails:
		out.longest = cold[hi].At - began // so far
	}
	if w.shortest != math.MaxInt64 {
		out.shortest = w.shortest
	}
	return out
}

// starts finds every place where the clock can start.
func (w *walk) starts() {
	from := w.st.from.Value
	w.must = len(w.cold)
	run, before := -1, -1 // where the readings that can be at or above began, and the last known one
	for i := range w.cold {
		c, h := w.cold[i].T, w.hot[i].T
		if c == unit.Unknown {
			continue
		}
		if run >= 0 && c < from {
			w.start(place{run, before, i})
		}
		if h >= from {
			if run < 0 {
				run = i
			}
			if c >= from && i < w.must {
				w.must = i
			}
		} else {
			if w.must < len(w.cold) {
				return // the clock has started on every path
			}
			run = -1
		}
		before = i
	}
	w.noStart = w.must == len(w.cold)
	w.noEnd = run >= 0
}

// start judges the paths that start at one place, at their best.
func (w *walk) start(p place) {
	if w.places == 0 {
		w.first = p
	}
	w.places++
	l := max(p.s, w.lo)
	e := w.next(l)
	began := w.cold[p.s].At
	if e >= 0 {
		w.shortest = min(w.shortest, w.cold[e].At-began)
		if min(w.must, p.s) >= w.hole && w.cold[e].At-began <= w.st.time {
			w.anyHolds = true
		}
	}
	w.allFail = w.allFail && w.fails(w.late(p), l)
}

// late is the latest moment at which the clock can have started between two
// readings: at the first, unless the record is silent after it.
func (w *walk) late(p place) int64 {
	if w.silent(p.s, p.j) {
		return w.cold[p.j].At
	}
	return w.cold[p.s].At
}

// silent says whether the record says nothing between two known readings.
func (w *walk) silent(i, j int) bool {
	return j-i > 1 || w.cold[j].At-w.cold[i].At > w.st.gap
}

// fails says whether a clock that started at a time is overrun if l is the last
// reading at or above the lower temperature.
func (w *walk) fails(start int64, l int) bool {
	if w.cold[l].At-start > w.st.time {
		return true
	}
	e := w.next(l)
	return e >= 0 && !w.silent(l, e) && w.cold[e].At-start > w.st.time
}

// next is the next known reading, −1 if there is none.
func (w *walk) next(i int) int {
	for i++; i < len(w.cold); i++ {
		if w.cold[i].T != unit.Unknown {
			return i
		}
	}
	return -1
}

// last is the last reading at or above a temperature, −1 if there is none.
func last(s []series.Sample, t unit.Micro) int {
	for i := len(s) - 1; i >= 0; i-- {
		if s[i].T >= t {
			return i
		}
	}
	return -1
}
