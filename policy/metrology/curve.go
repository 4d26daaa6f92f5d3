package metrology

import (
	"math"
	"slices"
	"sort"

	"lastgood/policy/unit"
)

// snap [K] is how far beyond an end a temperature still counts as at it: a
// thousandth of the smallest step a record can have, and a thousand times what
// converting from Fahrenheit adds.
const snap = 1e-9

// repeatGap [K]: points of one check whose true temperatures are nearer to each
// other than this are repeats of one point, not two points. A judgement: nobody
// chooses two points that close to learn a slope from them.
const repeatGap = 1

// observation is one point of a check, as found or as left.
type observation struct {
	x, e, u float64 // indicated [°C], error [K], standard uncertainty [K]
	dof     float64 // of u; 0 means infinitely many
	truth   float64 // [°C]
	ref     string  // the reference standard's name
	pass    bool
}

// observe reads one side of a check: of gives a point's indication and whether
// it passed.
func observe(c Check, of func(i int) (*unit.Micro, Verdict)) []observation {
	var obs []observation
	for i, p := range c.Points {
		m, v := of(i)
		if m == nil {
			continue
		}
		s := p.Reference.Scale
		obs = append(obs, observation{
			x:     float64(unit.ToCelsius(*m, s)),
			e:     float64(unit.DiffToKelvin((*m - p.Reference.True).Degrees(), s)),
			u:     float64(p.U),
			dof:   p.DoF,
			ref:   p.ReferenceID,
			truth: float64(unit.ToCelsius(p.Reference.True, s)),
			pass:  v == Pass,
		})
	}
	return obs
}

// layers splits observations into rounds through the check's points: the first
// reading at every point, then the second where there is one, and so on. Each
// round is a curve of its own, so that no repeat hides another. A round is
// ascending in x.
func layers(obs []observation) [][]observation {
	groups := repeats(obs)
	var out [][]observation
	for round, more := 0, true; more; round++ {
		more = false
		layer := make([]observation, 0, len(groups))
		for _, g := range groups {
			layer = append(layer, g[min(round, len(g)-1)])
			more = more || round+1 < len(g)
		}
		if len(layer) > 0 {
			out = append(out, ascending(layer))
		}
	}
	return out
}

// repeats groups observations of the same point, in the order they were taken.
func repeats(obs []observation) [][]observation {
	order := make([]int, len(obs))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool { return obs[order[i]].truth < obs[order[j]].truth })
	var groups [][]observation
	for i := 0; i < len(order); {
		j := i
		for j < len(order) && obs[order[j]].truth-obs[order[i]].truth < repeatGap {
			j++
		}
		slices.Sort(order[i:j])
		var g []observation
		for _, k := range order[i:j] {
			g = append(g, obs[k])
		}
		groups, i = append(groups, g), j
	}
	return groups
}

// ascending sorts a round by indication and sets points of equal indication (a
// stuck instrument) a millionth apart, so that every curve is a function.
func ascending(layer []observation) []observation {
	sort.SliceStable(layer, func(i, j int) bool { return layer[i].x < layer[j].x })
	for i := 1; i < len(layer); i++ {
		layer[i].x = max(layer[i].x, layer[i-1].x+1e-6)
	}
	return layer
}

// value is a curve at one temperature: the error between lo and hi, and its
// standard uncertainty [K] with its degrees of freedom.
type value struct{ lo, hi, u, dof float64 }

func (v value) mid() float64 { return (v.lo + v.hi) / 2 }

// knot is a bend or an end of a curve.
type knot struct {
	at float64 // indicated temperature [°C]
	value
}

// curve is the error of an instrument over indicated temperature after one
// round of a check: linear between its knots, unknown outside them.
type curve []knot

// newCurve is the curve through a round's observations.
//
//	inside           e and u linear between the points; u by Between with r = 0
//	                 where they hang on two named references
//	ν                the fewest of the points', for the whole curve
//	beyond, several  hull of the outer error and the outer segment's line
//	beyond, one      hull of  e = eₐ  and  e = eₐ (T − Tz)/(Tₐ − Tz)
//	                 u(d) = √(u² + (u d/Beyond)²)
//
//	Tₐ, eₐ  the point's indication and error         [°C, K]
//	Tz      0 °C, where a sensor's signal is zero    [°C]
//	d       distance beyond the outer point          [K]
//
// Range:   from Beyond below the first to Beyond above the last point.
// Assumes: offset (display, bulb) and gain (sensor) are the two faults that one
// point cannot tell apart; with |Tₐ − Tz| < Beyond the gain says nothing and
// only the offset is taken. Points share a reference unless they name two, so u
// between points is interpolated (fully correlated), not reduced.
// Source:  design notes on errors, §6; the growth of u and the distance are judgements.
// Departs: between an outer point and the domain's end u is the straight line,
// which is never below u(d).
// Checked: drift_interval.csv temperature_interpolation; design notes on the procedure, §2.
func newCurve(obs []observation, beyond float64) curve {
	first, last := obs[0], obs[len(obs)-1]
	below, above := gain(first, beyond), gain(last, beyond)
	before, after := beyond, beyond
	if n := len(obs); n > 1 {
		below, before = segment(obs[0], obs[1], beyond)
		above, after = segment(obs[n-2], obs[n-1], beyond)
	}
	c := make(curve, 0, len(obs)+2)
	c = append(c, first.outer(-before, below))
	dof := 0.0
	for i, o := range obs {
		if i > 0 {
			c = append(c, between(obs[i-1], o)...)
		}
		c = append(c, knot{o.x, value{lo: o.e, hi: o.e, u: o.u}})
		dof = fewer(dof, o.dof)
	}
	c = append(c, last.outer(after, above))
	for i := range c {
		c[i].dof = dof
	}
	return c
}

// outer is the end of a curve, d beyond its outer observation (downwards if
// negative), where a line through it has the given slope.
func (o observation) outer(d, slope float64) knot {
	line := o.e + slope*d
	u := o.u
	if d != 0 {
		u *= math.Sqrt2 // u(d) at d = Beyond
	}
	return knot{o.x + d + math.Copysign(snap, d), value{lo: min(o.e, line), hi: max(o.e, line), u: u}}
}

// gain is the slope of the gain hypothesis through one observation.
func gain(o observation, beyond float64) float64 {
	if o.x == 0 || math.Abs(o.x) < beyond {
		return 0
	}
	return o.e / o.x
}

// segment is the slope of an outer segment and how far beyond it may be
// followed: nowhere, if its ends show the same temperature.
func segment(a, b observation, beyond float64) (slope, reach float64) {
	if b.x-a.x < 0.01 {
		return 0, 0
	}
	return (b.e - a.e) / (b.x - a.x), beyond
}

func (c curve) domain() span { return span{c[0].at, c[len(c)-1].at} }

// at is the curve at t and whether it reaches there.
func (c curve) at(t float64) (value, bool) {
	if t < c[0].at || t > c[len(c)-1].at {
		return value{}, false
	}
	i := sort.Search(len(c), func(i int) bool { return c[i].at >= t })
	if c[i].at == t {
		return c[i].value, true
	}
	a, b := c[i-1], c[i]
	part := (t - a.at) / (b.at - a.at)
	return value{a.lo + part*(b.lo-a.lo), a.hi + part*(b.hi-a.hi), a.u + part*(b.u-a.u), a.dof}, true
}
