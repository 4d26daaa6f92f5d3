package limit

import (
	"fmt"
	"math"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// shifts are whole millionths of a degree, from lo up to but not hi.
type shifts struct{ lo, hi unit.Micro }

// allShifts are more than any record can be shifted and still be one.
var allShifts = shifts{-3 * unit.MaxDegrees * unit.PerDegree, 3 * unit.MaxDegrees * unit.PerDegree}

// holding returns the shifts to hotter, of those that are asked for, with which
// every clock is kept: ascending and apart from each other. They need not be one
// piece: a shift can start a clock later as well as end it later.
func (c cooling) holding(s series.Series, asked shifts) []shifts {
	hole := lastHole(s, c.gap)
	var out []shifts
	for i, st := range c.stages {
		own := st.holding(s.Samples, hole, asked)
		if i == 0 {
			out = own
		} else {
			out = common(out, own)
		}
	}
	return out
}

// common is what two lists of shifts have in common.
func common(a, b []shifts) []shifts {
	var out []shifts
	for i, j := 0, 0; i < len(a) && j < len(b); {
		if both := (shifts{max(a[i].lo, b[j].lo), min(a[i].hi, b[j].hi)}); both.lo < both.hi {
			out = append(out, both)
		}
		if a[i].hi < b[j].hi {
			i++
		} else {
			j++
		}
	}
	return out
}

// margin is how far s may be shifted before it first fails to hold, or, where it
// does not hold as it stands, the shift nearest to it that would.
func (c cooling) margin(s series.Series) unit.CelsiusDiff {
	kelvin := func(d unit.Micro) unit.CelsiusDiff { return unit.DiffToKelvin(d.Degrees(), c.Scale()) }
	if up := c.holding(s, shifts{0, allShifts.hi}); len(up) > 0 && up[0].lo == 0 {
		if up[0].hi == allShifts.hi {
			return unit.CelsiusDiff(math.Inf(1))
		}
		return kelvin(up[0].hi - 1)
	}
	down := c.holding(s, shifts{allShifts.lo, 0})
	if len(down) == 0 {
		return unit.CelsiusDiff(math.Inf(-1))
	}
	return kelvin(down[len(down)-1].hi - 1)
}

// sweep follows one clock while the record gets hotter. Its start moves later
// when the reading that it waits for is no longer below the upper temperature,
// and jumps back when an earlier reading comes to be at or above it; its end only
// moves later. Every reading is passed once.
type sweep struct {
	st    stage
	s     []series.Sample
	d     unit.Micro
	rises []int // before m: readings hotter than all before them, the next to come last
	falls []int // after l: readings hotter than all after them, the next to come last

	m, j int // first reading at or above the upper temperature, first below it after m
	l    int // last reading at or above the lower temperature
	done []piece
}

// piece is readings from … to−1, all at or above the upper temperature.
type piece struct{ from, to int }

// holding returns the shifts asked for with which the clock is kept. A hole after
// m leaves the clock undecided, and m never moves later: then it is over.
func (st stage) holding(s []series.Sample, hole int, asked shifts) []shifts {
	w := sweep{st: st, s: s, d: asked.lo, m: len(s), j: len(s), l: -1}
	w.begin()
	var out []shifts
	for w.d < asked.hi && (w.m >= hole || w.m == len(s)) {
		next := min(w.next(), asked.hi)
		if w.m < len(s) && w.kept() {
			if n := len(out); n > 0 && out[n-1].hi == w.d {
				out[n-1].hi = next
			} else {
				out = append(out, shifts{w.d, next})
			}
		}
		w.d = next
		w.move()
	}
	return out
}

// upper and lower are the temperatures of the stage for a record that is shifted.
func (w *sweep) upper() unit.Micro { return w.st.from.Value - w.d }
func (w *sweep) lower() unit.Micro { return w.st.to.Value - w.d }

// begin looks at the record at the first shift.
func (w *sweep) begin() {
	hottest := unit.Unknown
	for i := range w.s {
		t := w.s[i].T
		if t > hottest {
			hottest = t
			if t >= w.upper() {
				w.m, w.j = i, i+1
				break
			}
			w.rises = append(w.rises, i)
		}
	}
	hottest = unit.Unknown
	for i := len(w.s) - 1; i >= 0; i-- {
		t := w.s[i].T
		if t > hottest {
			hottest = t
			if t >= w.lower() {
				w.l = i
				break
			}
			w.falls = append(w.falls, i)
		}
	}
	w.move()
}

// next is the next shift at which anything moves.
func (w *sweep) next() unit.Micro {
	next := allShifts.hi
	if n := len(w.rises); n > 0 {
		next = min(next, w.st.from.Value-w.s[w.rises[n-1]].T)
	}
	if w.m < len(w.s) && w.j < len(w.s) {
		next = min(next, w.st.from.Value-w.s[w.j].T)
	}
	if n := len(w.falls); n > 0 {
		next = min(next, w.st.to.Value-w.s[w.falls[n-1]].T)
	}
	return next
}

// move brings m, j and l to the shift d.
func (w *sweep) move() {
	for n := len(w.rises); n > 0 && w.s[w.rises[n-1]].T >= w.upper(); n-- {
		if w.m < len(w.s) {
			w.done = append(w.done, piece{w.m, w.j})
		}
		w.m, w.j = w.rises[n-1], w.rises[n-1]+1
		w.rises = w.rises[:n-1]
	}
	for n := len(w.falls); n > 0 && w.s[w.falls[n-1]].T >= w.lower(); n-- {
		w.l = w.falls[n-1]
		w.falls = w.falls[:n-1]
	}
	for w.m < len(w.s) && w.j < len(w.s) {
		if n := len(w.done); n > 0 && w.done[n-1].from == w.j {
			w.j = w.done[n-1].to
			w.done = w.done[:n-1]
			continue
		}
		if t := w.s[w.j].T; t != unit.Unknown && t < w.upper() {
			return
		}
		w.j++
	}
}

// kept says whether the clock is kept where the record is whole from m on.
func (w *sweep) kept() bool {
	e := w.l + 1
	return w.j < len(w.s) && e < len(w.s) && w.s[e].At-w.s[w.j-1].At <= w.st.time
}

// tell says what became of every clock.
func (c cooling) tell(s series.Series) []string {
	hole := lastHole(s, c.gap)
	var out []string
	for _, st := range c.stages {
		r := st.over(s.Samples, s.Samples, hole)
		what := "as recorded no clock from " + st.from.String() + " to " + st.to.String() + " can be told"
		if r.longest >= 0 {
			what = fmt.Sprintf("as recorded from %s to %s in %s, of %s", st.from, st.to, span(0, r.longest), span(0, st.time))
		}
		out = append(out, what)
	}
	return out
}
