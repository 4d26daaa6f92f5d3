package metrology

import (
	"math"
	"sort"
)

// span is an interval of temperature [lo, hi) in °C.
type span struct{ lo, hi float64 }

// everywhere is all temperatures.
var everywhere = span{math.Inf(-1), math.Inf(1)}

func (s span) holds() bool { return s.lo < s.hi }

// meet is what both have in common.
func (s span) meet(o span) span { return span{max(s.lo, o.lo), min(s.hi, o.hi)} }

// spans is a set of temperatures: ascending, apart from each other.
type spans []span

// union sorts intervals and joins those that overlap or touch.
func union(in []span) spans {
	sort.Slice(in, func(i, j int) bool { return in[i].lo < in[j].lo })
	var out spans
	for _, s := range in {
		if n := len(out); n > 0 && s.lo <= out[n-1].hi {
			out[n-1].hi = max(out[n-1].hi, s.hi)
		} else if s.holds() {
			out = append(out, s)
		}
	}
	return out
}

// and is what is in both sets.
func (a spans) and(b spans) spans {
	var out spans
	for i, j := 0, 0; i < len(a) && j < len(b); {
		if s := a[i].meet(b[j]); s.holds() {
			out = append(out, s)
		}
		if a[i].hi < b[j].hi {
			i++
		} else {
			j++
		}
	}
	return out
}

// cover reports whether one interval of the set holds both ends of s.
func (a spans) cover(s span) bool {
	for _, i := range a {
		if i.lo <= s.lo && s.hi < i.hi {
			return true
		}
	}
	return false
}

// not is what is in no interval of the set.
func (a spans) not() spans {
	var out spans
	from := everywhere.lo
	for _, s := range a {
		if gap := (span{from, s.lo}); gap.holds() {
			out = append(out, gap)
		}
		from = s.hi
	}
	if rest := (span{from, everywhere.hi}); rest.holds() {
		out = append(out, rest)
	}
	return out
}

// proven is the temperatures at which a round of a check counts as passed: the
// pieces between adjacent points that both pass, and the reach beyond an outer
// point that passes.
func proven(layer []observation, beyond float64) spans {
	var good []span
	add := func(lo, hi float64, ok bool) {
		if ok {
			good = append(good, span{lo - snap, hi + snap})
		}
	}
	first, last := layer[0], layer[len(layer)-1]
	add(first.x-beyond, first.x, first.pass)
	for i := 1; i < len(layer); i++ {
		add(layer[i-1].x, layer[i].x, layer[i-1].pass && layer[i].pass)
	}
	add(last.x, last.x+beyond, last.pass)
	return union(good)
}
