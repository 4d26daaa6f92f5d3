package limit

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"

	"lastgood/policy/unit"
)

// nodes is how many moments of onset are evaluated in a stretch of the window,
// few where it is a small share of it.
func nodes(share float64) int {
	switch {
	case share < 1e-4:
		return 1
	case share < 0.01:
		return 4
	}
	return 16
}

// delayed returns the chance of a miss if the error began to grow at one moment,
// each of the window as likely as another.
//
//	P = 1/W ∫ Q(h(τ)/u) dτ    over the window, W its length
//
// Gauss–Legendre quadrature over what lies before the first reading, over what
// lies between the first and the last, and exactly after the last.
//
// Source:  design notes on errors, §4: with g = (f − x)/(1 − x), x uniform on
// (0, 1), it is the density (1 − f)/(1 − g)² of those notes.
// Departs: of the second stretch, which is no smooth function, only as many
// nodes are taken as its weight is worth.
// Checked: drift_interval.csv missed_limit_probability, column delayed, to 1e-9;
// onset_model for the mean of g.
func delayed(p paths, o Onset) float64 {
	length := float64(o.FailedAt) - float64(o.After)
	since := func(at int64) float64 { return min(max(float64(at)-float64(o.After), 0), length) }
	first, last := p.ends()
	a, z := since(first), since(last)
	at := func(tau float64) float64 {
		return p.along(func(t int64) float64 { return share(float64(t)-float64(o.After)-tau, length-tau) })
	}
	sum := 0.0
	if a > 0 {
		// Smooth, and for a single reading all there is: twice as many.
		sum += quad.Fixed(at, 0, a, 2*nodes(a/length), nil, 0)
	}
	if z > a {
		sum += quad.Fixed(at, a, z, nodes((z-a)/length), nil, 0)
	}
	if z < length {
		sum += (length - z) * at(length)
	}
	return sum / length
}

// whole is the paths through a whole record, for a kind that needs all of it.
type whole struct {
	*bracket
	c        Criterion
	o        Onset
	monotone bool // every path lies between the two constant ones
}

func (r *whole) ends() (first, last int64) {
	s := r.recorded.Samples
	return s[0].At, s[len(s)-1].At
}

// along puts the path into the scratch, rounded towards harm, and judges it.
func (r *whole) along(g func(at int64) float64) float64 {
	harm := float64(r.c.Harm())
	for i := range r.at {
		t := &r.at[i]
		r.work[i] = r.recorded.Samples[i]
		if t[old] == t[found] {
			r.work[i].T = t[old]
			continue
		}
		d := g(r.work[i].At) * float64(t[found]-t[old])
		r.work[i].T = t[old] + unit.Micro(harm*math.Ceil(harm*d))
	}
	return r.chance()
}

// chance is the chance of a miss along the path in the scratch.
func (r *whole) chance() float64 {
	s := spread{r.u, r.dof}
	if p, ok := r.c.(pieces); ok {
		on := r.c.Scale()
		return s.missed(p.holding(r.scratch(), s.reach(on)), on)
	}
	return s.tail(r.c.margin(r.scratch()))
}

// budget is how many moments of a jump are evaluated within a record: all of
// them where there are no more, and otherwise half as many, where it matters most.
const budget = 32

// tolerance is the part of the probability that more moments are not worth.
const tolerance = 1e-3

// inner is moments from … to, ends excluded, with the chances at the two ends.
type inner struct {
	from, to         int
	chance, chanceTo float64
}

// sudden averages the chance over the moments of a jump: with the first i
// readings before it, for every i. Of more than 32 moments within the record,
// those are evaluated between which the chance changes most, by its weight; what
// is left between two of them counts with the more harmful of the two.
func (r *whole) sudden() float64 {
	window := float64(r.o.FailedAt) - float64(r.o.After)
	first, last, moments := -1, 0, 0
	for i := range len(r.at) + 1 {
		if r.weight(i, i) > 0 {
			if first < 0 {
				first = i
			}
			last, moments = i, moments+1
		}
	}
	if moments > budget {
		return r.searched(first, last, window) / window
	}
	sum := 0.0
	for i := first; i <= last; i++ {
		if w := r.weight(i, i); w > 0 {
			sum += w * r.jump(i)
		}
	}
	return sum / window
}

// searched sums the chances over the moments from first to last, each with its
// weight [µs].
func (r *whole) searched(first, last int, window float64) float64 {
	sum := 0.0
	eval := func(i int) float64 {
		p := r.jump(i)
		sum += r.weight(i, i) * p
		return p
	}
	parts := []inner{{first, last, eval(first), eval(last)}}
	for len(parts) < budget/2 {
		at, most := 0, 0.0
		for k, g := range parts {
			if w := r.doubt(g); w > most {
				at, most = k, w
			}
		}
		if most <= tolerance/budget*window {
			break
		}
		g := parts[at]
		mid := g.from + (g.to-g.from)/2
		p := eval(mid)
		parts[at] = inner{g.from, mid, g.chance, p}
		parts = append(parts, inner{mid, g.to, p, g.chanceTo})
	}
	for _, g := range parts {
		sum += r.weight(g.from+1, g.to-1) * max(g.chance, g.chanceTo)
	}
	return sum
}

// doubt is how much of the probability hangs on the moments between two others.
func (r *whole) doubt(g inner) float64 {
	w := r.weight(g.from+1, g.to-1)
	if !r.monotone {
		return w
	}
	return w * math.Abs(g.chance-g.chanceTo)
}

// jump is the chance of a miss with the first i readings before the jump.
func (r *whole) jump(i int) float64 {
	for k := range r.at {
		e := found
		if k < i {
			e = old
		}
		r.work[k] = r.recorded.Samples[k]
		r.work[k].T = r.at[k][e]
	}
	return r.chance()
}

// weight is the time [µs] of the window in which a jump leaves the first i
// readings with the old error, for i from … to.
func (r *whole) weight(from, to int) float64 {
	if from > to {
		return 0
	}
	since, until := r.o.After, r.o.FailedAt
	s := r.recorded.Samples
	if from > 0 {
		since = max(since, s[from-1].At)
	}
	if to < len(s) {
		until = min(until, s[to].At)
	}
	return max(float64(until)-float64(since), 0)
}
