package metrology_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// round is one check's errors and uncertainty at indications 0, 70 and 100 °C.
type round struct {
	e [3]float64
	u float64
}

var indications = [3]float64{0, 70, 100}

func (r round) check(at int64) metrology.Check {
	c := metrology.Check{At: at}
	for i, x := range indications {
		c.Points = append(c.Points, shown(x, r.e[i], r.u))
	}
	return c
}

// error is the error of a round at x by plain interpolation.
func (r round) error(x float64) float64 {
	i := 0
	if x > indications[1] {
		i = 1
	}
	part := (x - indications[i]) / (indications[i+1] - indications[i])
	return r.e[i] + part*(r.e[i+1]-r.e[i])
}

// drawRound draws errors in whole millionths, so that what was recorded is what
// is compared.
func drawRound(t *rapid.T, name string, worst float64) round {
	var r round
	for i := range r.e {
		r.e[i] = float64(rapid.IntRange(-int(worst*deg), int(worst*deg)).Draw(t, name)) / deg
	}
	r.u = rapid.Float64Range(0, 0.3).Draw(t, name+" u")
	return r
}

func propertyDoubt(t *rapid.T, use float64, rounds ...round) *metrology.Doubt {
	f := metrology.Facts{Tolerance: celsius(1), Rule: metrology.DefaultRule(), UseUncertainty: unit.CelsiusDiff(use), Failed: len(rounds) - 1, Beyond: 10}
	for i, r := range rounds {
		f.Checks = append(f.Checks, r.check(int64(i)*hour))
	}
	d, err := metrology.NewDoubt(f)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// failing is a round that fails at every point, so that every temperature is in
// doubt.
func failing(t *rapid.T) round {
	r := drawRound(t, "found", 4)
	for i := range r.e {
		r.e[i] += math.Copysign(1.1, r.e[i])
	}
	return r
}

// The bracket holds what every check in the window saw, with the uncertainty;
// the answer does not depend on which end is which; more uncertainty never
// narrows it; at a check point it is that point (design notes on errors, §11).
func TestBracketProperties(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		good, found := drawRound(t, "good", 0.9), failing(t)
		seen := failing(t)
		use := rapid.Float64Range(0, 0.3).Draw(t, "use")
		x := rapid.Float64Range(0, 100).Draw(t, "x")
		d := propertyDoubt(t, use, good, seen, found)
		b, s := d.At(hour/2, unit.Celsius(x))
		if s != metrology.Known {
			t.Fatal(d.Reason(hour/2, unit.Celsius(x)))
		}
		wide := 2 * math.Hypot(max(good.u, seen.u, found.u), use)
		for _, r := range []round{good, seen, found} {
			if e := r.error(x); e-wide < float64(b.Lo)-1e-9 || e+wide > float64(b.Hi)+1e-9 {
				t.Fatalf("error %g ± %g at %g outside [%g, %g]", e, wide, x, b.Lo, b.Hi)
			}
		}
		if !near(b.Old, good.error(x)) || !near(b.Found, found.error(x)) {
			t.Fatalf("ends %g and %g, want %g and %g", b.Old, b.Found, good.error(x), found.error(x))
		}
		i := rapid.IntRange(0, 2).Draw(t, "point")
		p, _ := d.At(hour/2, unit.Celsius(indications[i]))
		if lo := min(good.e[i], seen.e[i], found.e[i]); !near(p.Lo, lo-wide) {
			t.Fatalf("at point %d: %g, want %g", i, p.Lo, lo-wide)
		}
		more := propertyDoubt(t, use+0.1, good, seen, found)
		if m, _ := more.At(hour/2, unit.Celsius(x)); m.Lo > b.Lo || m.Hi < b.Hi {
			t.Fatalf("more uncertainty: [%g, %g] became [%g, %g]", b.Lo, b.Hi, m.Lo, m.Hi)
		}
		less := propertyDoubt(t, use, good, found)
		if m, _ := less.At(hour/2, unit.Celsius(x)); m.Lo < b.Lo-1e-9 || m.Hi > b.Hi+1e-9 {
			t.Fatalf("a check seen in between narrowed [%g, %g] to [%g, %g]", m.Lo, m.Hi, b.Lo, b.Hi)
		}
	})
}

// Mirrored errors give the mirrored bracket, and the order of what was seen in
// the window leaves it, the failed check included.
func TestBracketMirrors(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		good, found := drawRound(t, "good", 0.9), failing(t)
		x := unit.Celsius(rapid.Float64Range(-10, 110).Draw(t, "x"))
		mirror := func(r round) round {
			for i := range r.e {
				r.e[i] = -r.e[i]
			}
			return r
		}
		b, s := propertyDoubt(t, 0, good, found).At(hour/2, x)
		m, ms := propertyDoubt(t, 0, mirror(good), mirror(found)).At(hour/2, x)
		if s != ms || !near(b.Lo, float64(-m.Hi)) || !near(b.Hi, float64(-m.Lo)) {
			t.Fatalf("[%g, %g] mirrored is [%g, %g]", b.Lo, b.Hi, m.Lo, m.Hi)
		}
		a, c := failing(t), drawRound(t, "between", 3)
		one, _ := propertyDoubt(t, 0, good, a, c, found).At(hour/4, x)
		two, _ := propertyDoubt(t, 0, good, found, c, a).At(hour/4, x)
		if s == metrology.Known && !(near(one.Lo, float64(two.Lo)) && near(one.Hi, float64(two.Hi))) {
			t.Fatalf("[%g, %g] in another order is [%g, %g]", one.Lo, one.Hi, two.Lo, two.Hi)
		}
	})
}

// The same check written in °F gives the same bracket: temperatures shift by 32,
// errors and uncertainties do not.
func TestBracketInEitherScale(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		good, found := drawRound(t, "good", 0.9), failing(t)
		x := unit.Celsius(rapid.Float64Range(-9, 109).Draw(t, "x"))
		f := metrology.Facts{Tolerance: fahrenheit(1.8), Rule: metrology.DefaultRule(), Failed: 1, Beyond: 10,
			Checks: []metrology.Check{good.check(0), found.check(hour)}}
		for _, c := range f.Checks {
			for i := range c.Points {
				p := &c.Points[i]
				p.Found = ptr(unit.Convert(*p.Found, unit.CelsiusScale, unit.FahrenheitScale, unit.Colder))
				p.Reference.True = unit.Convert(p.Reference.True, unit.CelsiusScale, unit.FahrenheitScale, unit.Colder)
				p.Reference.Scale = unit.FahrenheitScale
			}
		}
		d, err := metrology.NewDoubt(f)
		if err != nil {
			t.Fatal(err)
		}
		b, s := propertyDoubt(t, 0, good, found).At(hour/2, x)
		m, ms := d.At(hour/2, x)
		// Each converted value is rounded to a millionth of a degree Fahrenheit.
		if s != ms || math.Abs(float64(b.Lo-m.Lo)) > 3e-6 || math.Abs(float64(b.Hi-m.Hi)) > 3e-6 {
			t.Fatalf("[%g, %g] in C is [%g, %g] in F", b.Lo, b.Hi, m.Lo, m.Hi)
		}
	})
}

// The reaches cover all temperatures without a gap or an overlap, and each names
// a check that is there.
func TestReachesPartitionTheAxis(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 5).Draw(t, "checks")
		f := metrology.Facts{Tolerance: celsius(1), Rule: metrology.DefaultRule(), Failed: n - 1,
			Beyond: unit.CelsiusDiff(rapid.SampledFrom([]float64{0, 10}).Draw(t, "beyond"))}
		for i := range n {
			c := metrology.Check{At: int64(i) * hour}
			for range rapid.IntRange(0, 4).Draw(t, "points") {
				c.Points = append(c.Points, shown(
					float64(rapid.IntRange(-20, 120).Draw(t, "x")), float64(rapid.IntRange(-3, 3).Draw(t, "e"))/2, 0.1))
			}
			f.Checks = append(f.Checks, c)
		}
		d, err := metrology.NewDoubt(f)
		if err != nil {
			t.Fatal(err)
		}
		from := unit.Celsius(math.Inf(-1))
		for _, r := range d.Reaches {
			if r.Lo != from || r.Hi <= r.Lo || r.LastGood < -1 || r.LastGood > f.Failed || (r.LastGood == f.Failed) != r.Clear {
				t.Fatalf("reach [%g, %g) after %g, last good %d, clear %v", r.Lo, r.Hi, from, r.LastGood, r.Clear)
			}
			from = r.Hi
			for _, b := range []metrology.Band{r.Before, r.Later} {
				for i, node := range b.Nodes {
					if node.Lo > node.Hi || node.U < 0 || math.IsNaN(float64(node.Lo+node.Hi+node.U)) || i > 0 && node.At <= b.Nodes[i-1].At {
						t.Fatalf("node %d of %+v", i, b.Nodes)
					}
				}
			}
		}
		if !math.IsInf(float64(from), 1) {
			t.Fatalf("reaches end at %g", from)
		}
	})
}
