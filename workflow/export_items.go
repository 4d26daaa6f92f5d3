package workflow

import (
	"cmp"
	"slices"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// doubted returns the items of the record that say something of a lot in doubt,
// in order of lot and limit. Of the ways that a stay may have been, it has the
// widest: the readings of the others are among its own.
func (e *evidence) doubted() []item {
	var out []item
	for _, it := range e.items() {
		if !e.touches(it) {
			continue
		}
		i := -1
		if it.stay != 0 {
			i = slices.IndexFunc(out, func(o item) bool { return o.stay == it.stay && o.lot == it.lot && o.limit == it.limit })
		}
		switch {
		case i < 0:
			out = append(out, it)
		case it.count() > out[i].count():
			out[i] = it
		}
	}
	slices.SortStableFunc(out, func(a, b item) int {
		return cmp.Or(cmp.Compare(e.lots[a.lot].Code, e.lots[b.lot].Code), cmp.Compare(a.limit, b.limit))
	})
	return out
}

// touches says whether any reading of an item is in doubt.
func (e *evidence) touches(it item) bool {
	l, ok := e.policy.InForce(it.limit, e.producedAt(it))
	if !ok {
		return e.anyInWindow(it)
	}
	after, _, _ := windowFor(e.doubt, l.Criterion)
	return e.inDoubt(it.series(l), windowed{e.doubt, after, e.clock})
}

// unjudged returns readings that no limit was in force for: as they were
// recorded, and nothing else.
func (it item) unjudged() []BasisReading {
	out := it.recorded()
	for i := range out {
		p := &out[i].Path
		p.Standing = metrology.Unknown
		p.Recorded, p.Corrected, p.Worst, p.Best = unit.Unknown, unit.Unknown, unit.Unknown, unit.Unknown
	}
	return out
}
