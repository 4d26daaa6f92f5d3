package metrology

import (
	"math"
	"slices"

	"lastgood/policy/unit"
)

// Bounds is what is known of the error of one reading [K].
type Bounds struct {
	// Lo and Hi bracket the error, expanded uncertainty included.
	Lo, Hi unit.CelsiusDiff
	// Old and Found are the central errors at the two ends of the window: e₀ as
	// left at the last good check and e₁ as found at the failed one.
	Old, Found unit.CelsiusDiff
	// U is the standard uncertainty, use included (k = 1).
	U unit.CelsiusDiff
	// DoF is the degrees of freedom of U; 0 means infinitely many, for which the
	// error is normal about its ends and not Student's t.
	DoF float64
}

// Node is the bounds at one indicated temperature.
type Node struct {
	At unit.Celsius
	Bounds
}

// Band is the bounds over indicated temperature: linear between its nodes and
// unknown outside them. Why says why nothing at all is known; it is empty if
// there are nodes.
type Band struct {
	Nodes []Node // ascending
	Why   string
}

// at is the bounds at x and whether x lies within the band.
func (b *Band) at(x unit.Celsius) (Bounds, bool) {
	n := b.Nodes
	if len(n) == 0 || !(x >= n[0].At && x <= n[len(n)-1].At) {
		return Bounds{}, false
	}
	lo, hi := 0, len(n)-1
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; n[mid].At <= x {
			lo = mid
		} else {
			hi = mid
		}
	}
	p, q := &n[lo], &n[hi]
	if x == p.At || lo == hi {
		return p.Bounds, true
	}
	part := unit.CelsiusDiff((x - p.At) / (q.At - p.At))
	return Bounds{
		Lo:    p.Lo + part*(q.Lo-p.Lo),
		Hi:    p.Hi + part*(q.Hi-p.Hi),
		Old:   p.Old + part*(q.Old-p.Old),
		Found: p.Found + part*(q.Found-p.Found),
		U:     p.U + part*(q.U-p.U),
		DoF:   fewer(p.DoF, q.DoF),
	}, true
}

// evidence is the error curves that make up a band.
type evidence struct {
	old, found []curve // the two ends of the window: the band reaches where both do
	inside     []curve // seen between them: they widen the band where they reach
}

// band is the bracket of the evidence over the interval in.
//
//	[ min eᵢ(T) − U(T),  max eᵢ(T) + U(T) ],  U = max kᵢ √(uᵢ(T)² + u_use²)
//
//	eᵢ     error curves of the evidence            [K]
//	uᵢ     their standard uncertainties            [K]
//	u_use  what a reading in use has besides       [K]
//	kᵢ     coverage factor, normally 2; t_p(νᵢ) where the degrees of freedom
//	       of uᵢ are finite                        [1]
//
// Range:   where the curves of both ends reach; unknown elsewhere.
// Assumes: a drift that keeps its direction, or one step that does not heal.
// Evaluated at the union of the curves' nodes. Between nodes every curve is
// linear, so min is concave and max and U are convex, and the straight line
// between nodes is never inside the true bracket. U of the bounds is the largest
// standard uncertainty, with the degrees of freedom of the curve that makes the
// bracket widest. u_use adds none: by Welch and Satterthwaite it would, and more
// uncertainty in use could make the bracket narrower.
// Source:  design notes on errors, §3 and §6, after JCGM 100:2008.
// Departs: nothing.
// Checked: design notes on the procedure, §2 worked numbers; drift_interval.csv bracket_verdict.
func (e evidence) band(in span, r Rule, use float64) Band {
	for _, c := range slices.Concat(e.old, e.found) {
		in = in.meet(c.domain())
	}
	if !in.holds() {
		return Band{}
	}
	all := slices.Concat(e.old, e.found, e.inside)
	var nodes []Node
	for _, t := range breaks(all, in) {
		nodes = append(nodes, Node{unit.Celsius(t), e.bounds(all, t, r, use)})
	}
	return Band{Nodes: nodes}
}

// bounds is the bracket at t of all curves that reach there.
func (e evidence) bounds(all []curve, t float64, r Rule, use float64) Bounds {
	lo, hi, u, dof := math.Inf(1), math.Inf(-1), 0.0, 0.0
	var wide unit.CelsiusDiff
	for _, c := range all {
		v, ok := c.at(t)
		if !ok {
			continue
		}
		inUse := math.Hypot(v.u, use)
		lo, hi, u = min(lo, v.lo), max(hi, v.hi), max(u, inUse)
		w := r.Expanded(unit.CelsiusDiff(inUse), v.dof)
		if w > wide {
			dof = v.dof
		}
		wide = max(wide, w)
	}
	old, _ := e.old[0].at(t)
	found, _ := e.found[0].at(t)
	return Bounds{
		Lo: unit.CelsiusDiff(lo) - wide, Hi: unit.CelsiusDiff(hi) + wide,
		Old: unit.CelsiusDiff(old.mid()), Found: unit.CelsiusDiff(found.mid()),
		U: unit.CelsiusDiff(u), DoF: dof,
	}
}

// breaks are the temperatures within in where some curve bends or ends. Just
// outside a curve's end is one more, so that what it adds ends there too.
func breaks(curves []curve, in span) []float64 {
	at := []float64{in.lo, in.hi}
	for _, c := range curves {
		d := c.domain()
		at = append(at, math.Nextafter(d.lo, math.Inf(-1)), math.Nextafter(d.hi, math.Inf(1)))
		for _, n := range c {
			at = append(at, n.at)
		}
	}
	at = slices.DeleteFunc(at, func(t float64) bool { return t < in.lo || t > in.hi })
	slices.Sort(at)
	return slices.Compact(at)
}
