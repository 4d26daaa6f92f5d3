package metrology

import (
	"math"

	"lastgood/policy/unit"
)

// samePoint is how far [K] a check may lie from an earlier one and still be taken
// at the same point. A judgement: a dry well or a bath is rarely set nearer.
const samePoint = 3

// settles reports whether check i left the instrument clearly good wherever, from
// the failed check on, it had not been or nobody knows whether it was: an ice
// point does not settle a failure in boiling water.
func (d *dossier) settles(i int) bool {
	s := d.sides[i]
	if s.left == nil || s.judged.Left != Pass {
		return false
	}
	in := hull(d.Checks[i].Points, func(int) bool { return true })
	for k := d.Failed; k <= i; k++ {
		if want, slack := d.wanted(k); want.lo+slack < in.lo || want.hi-slack > in.hi {
			return false
		}
	}
	return true
}

// wanted is the true temperatures that a check must span to settle check k, and
// how far within them its outer points may lie. To what k found out of tolerance,
// or left so, a check reaches beyond its points. Where k has no as-found, or nobody
// knows how it was left, it may have gone wrong anywhere: then the points of k and
// all those where it was ever clearly good are asked for again.
func (d *dossier) wanted(k int) (at span, slack float64) {
	points, judged := d.Checks[k].Points, d.sides[k].judged.Points
	if d.sides[k].found != nil && !d.Checks[k].leftUnknown() {
		bad := hull(points, func(n int) bool { return judged[n].Found != Pass || judged[n].Left != Pass })
		return bad, max(float64(d.Beyond), repeatGap)
	}
	all := hull(points, func(int) bool { return true })
	for i := range d.Failed {
		if d.good(i) {
			ok := hull(d.Checks[i].Points, func(n int) bool { return d.sides[i].judged.Points[n].Left == Pass })
			all = span{min(all.lo, ok.lo), max(all.hi, ok.hi)}
		}
	}
	return all, samePoint
}

// hull is the true temperatures [°C] from the lowest to the highest of some of a
// check's points; turned round if there are none.
func hull(points []Point, of func(n int) bool) span {
	s := span{math.Inf(1), math.Inf(-1)}
	for n, p := range points {
		if of(n) {
			s = span{min(s.lo, p.truth()), max(s.hi, p.truth())}
		}
	}
	return s
}

// truth is the true temperature of a point [°C].
func (p Point) truth() float64 {
	return float64(unit.ToCelsius(p.Reference.True, p.Reference.Scale))
}
