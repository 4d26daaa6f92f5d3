package growth

import (
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// drawn is a model of any form and a record around its range of growth.
func drawn(t *testing.T, rt *rapid.T) (Model, series.Series) {
	all := shapes(t)
	names := make([]string, 0, len(all))
	for n := range all {
		names = append(names, n)
	}
	slices.Sort(names)
	m := all[rapid.SampledFrom(names).Draw(rt, "model")]
	s := series.Series{Scale: m.Scale()}
	t0 := int64(hour)
	if rapid.Bool().Draw(rt, "bounded") {
		s.Start, s.End = t0-hour/2, t0
	}
	around := rapid.Int64Range(-5, 60).Draw(rt, "around") * unit.PerDegree
	for range rapid.IntRange(1, 8).Draw(rt, "n") {
		x := series.Sample{At: t0, T: unit.Micro(around + rapid.SampledFrom([]int64{1, 100, 3000}).Draw(rt, "scale")*rapid.Int64Range(-10_000, 10_000).Draw(rt, "T"))}
		if rapid.IntRange(0, 15).Draw(rt, "hole") == 0 {
			x.T = unit.Unknown
		}
		s.Samples = append(s.Samples, x)
		t0 += rapid.SampledFrom([]int64{hour, hour / 2, 0, hour / 10, 3 * hour}).Draw(rt, "step")
	}
	if s.Start != 0 {
		s.End = t0
	}
	return m, s
}

const twoHours = 2 * time.Hour

// moved is s with every known reading changed.
func moved(s series.Series, by func(i int, t unit.Micro) unit.Micro) series.Series {
	out := s
	out.Samples = slices.Clone(s.Samples)
	for i, x := range s.Samples {
		if x.T != unit.Unknown {
			out.Samples[i].T = by(i, x.T)
		}
	}
	return out
}

// TestBandHoldsEveryPath: no path between two series grows more than the worst
// or less than the best, whatever it does at each reading; nor does a path that
// has readings of its own in between.
func TestBandHoldsEveryPath(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		m, s := drawn(t, rt)
		width := rapid.SampledFrom([]int64{0, 1000, 1_000_000, 20_000_000}).Draw(rt, "width")
		below := make([]unit.Micro, len(s.Samples))
		above := make([]unit.Micro, len(s.Samples))
		part := make([]float64, len(s.Samples))
		for i := range s.Samples {
			below[i] = unit.Micro(rapid.Int64Range(0, width).Draw(rt, "below"))
			above[i] = unit.Micro(rapid.Int64Range(0, width).Draw(rt, "above"))
			part[i] = rapid.Float64Range(0, 1).Draw(rt, "part")
		}
		cold := moved(s, func(i int, x unit.Micro) unit.Micro { return x - below[i] })
		hot := moved(s, func(i int, x unit.Micro) unit.Micro { return x + above[i] })
		path := moved(s, func(i int, x unit.Micro) unit.Micro {
			return x - below[i] + unit.Micro(part[i]*float64(below[i]+above[i]))
		})
		y, covered := m.Increase(path, twoHours)
		worst, cw := m.WithinWorst(cold, hot, twoHours)
		best, cb := m.WithinBest(cold, hot, twoHours)
		if cw != covered || cb != covered {
			rt.Fatalf("covered %v, worst %v, best %v", covered, cw, cb)
		}
		room := 1e-9*float64(worst) + 1e-15
		if float64(y-worst) > room || float64(best-y) > room {
			rt.Fatalf("best %v, path %v, worst %v", best, y, worst)
		}
		a, _ := m.WithinWorst(path, path, twoHours)
		b, _ := m.WithinBest(path, path, twoHours)
		if math.Abs(float64(a-y)) > room || math.Abs(float64(b-y)) > room {
			rt.Fatalf("one line: best %v, path %v, worst %v", b, y, a)
		}
	})
}

// TestBandMomentByMoment: the worst and the best are the sums over short moments
// of the highest and the lowest rate between the two lines.
func TestBandMomentByMoment(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		m, _ := drawn(t, rt)
		draw := func(name string) float64 { return rapid.Float64Range(-5, 60).Draw(rt, name) }
		a, b := ends{draw("a"), draw("b")}.ordered(), ends{draw("c"), draw("d")}.ordered()
		const n = 4000
		var worst, best, peak float64
		for i := range n {
			x := a.toward(b, (float64(i)+0.5)/n)
			f, g := m.rate(x.cold), m.rate(x.hot)
			high := max(f, g)
			if x.cold <= m.opt && m.opt <= x.hot {
				high = m.rate(m.opt)
			}
			worst, best, peak = worst+high/n, best+min(f, g)/n, max(peak, high)
		}
		if w, l := m.bent(a, b, true), m.bent(a, b, false); math.Abs(w-worst) > 2e-3*peak+1e-9 || math.Abs(l-best) > 2e-3*peak+1e-9 {
			rt.Fatalf("worst %v, by moments %v; best %v, by moments %v; peak %v", w, worst, l, best, peak)
		}
	})
}

// TestHotterGrowsMoreBelowTheOptimum: as long as every reading stays below it.
func TestHotterGrowsMoreBelowTheOptimum(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		m, s := drawn(t, rt)
		limit := unit.Micro(math.MaxInt64)
		if opt, ok := m.Optimum(); ok {
			limit = unit.Micro(float64(opt) * unit.PerDegree)
		}
		by := unit.Micro(rapid.Int64Range(0, 10_000_000).Draw(rt, "by"))
		cool := moved(s, func(_ int, x unit.Micro) unit.Micro { return min(x, limit) })
		warm := moved(cool, func(_ int, x unit.Micro) unit.Micro { return min(x+by, limit) })
		if a, b := grown(m, cool), grown(m, warm); b < a*(1-1e-9) {
			rt.Fatalf("%v, hotter %v", a, b)
		}
	})
}

// TestRateEndsInNothing: the rate is 0 at and beyond Tmin and Tmax, and comes
// there without a jump.
func TestRateEndsInNothing(t *testing.T) {
	t.Parallel()
	for name, m := range shapes(t) {
		for _, u := range []float64{-30, -1e-9, 0, m.top, m.top + 1e-9, m.top + 30} {
			if f := m.rate(u); f != 0 {
				t.Errorf("%s at %v: %v", name, u, f)
			}
		}
		if f := m.rate(1e-6); !(f > 0 && f < 1e-6) {
			t.Errorf("%s just above Tmin: %v", name, f)
		}
		if f := m.rate(m.top - 1e-9); !math.IsInf(m.top, 1) && !(f >= 0 && f < 1e-4) {
			t.Errorf("%s just below Tmax: %v", name, f)
		}
	}
}

// TestScalesAgree: the same model and the same record in F.
func TestScalesAgree(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		// Parameters in whole fifths of a degree fit both scales.
		p := modified(Log10PerHour, 0.05, 10, 0.238, 53)
		if rapid.Bool().Draw(rt, "cardinal") {
			p = cardinal(LnPerHour, 5, 40, 45, 2)
		}
		inF := p
		for _, x := range []*unit.Temperature{&inF.Tmin, &inF.Topt, &inF.Tmax} {
			*x = x.On(unit.FahrenheitScale, unit.Hotter)
		}
		mc, mf := model(t, p), model(t, inF)
		s := series.Series{Scale: unit.CelsiusScale}
		f := series.Series{Scale: unit.FahrenheitScale}
		for i := range 5 {
			x := unit.Micro(rapid.Int64Range(-10, 300).Draw(rt, "T")) * 200_000
			s.Samples = append(s.Samples, series.Sample{At: int64(i) * hour, T: x})
			f.Samples = append(f.Samples, series.Sample{At: int64(i) * hour, T: unit.Convert(x, unit.CelsiusScale, unit.FahrenheitScale, unit.Hotter)})
		}
		if a, b := grown(mc, s), grown(mf, f); math.Abs(a-b) > 1e-9*math.Max(a, 1e-3) {
			rt.Fatalf("%v in C, %v in F", a, b)
		}
		if a, b := float64(mc.Headroom(s, twoHours, 1)), float64(mf.Headroom(f, twoHours, 1)); math.Abs(a-b) > 1e-6 && a != b {
			rt.Fatalf("headroom %v in C, %v in F", a, b)
		}
	})
}

// TestHeadroomIsTheFirstRoot: just inside holds, just outside fails, and nothing
// on the way fails. From a lot that fails, nothing on the way holds.
func TestHeadroomIsTheFirstRoot(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		m, s := drawn(t, rt)
		allowed := Logs(rapid.SampledFrom([]float64{0.01, 0.1, 0.5, 1, 3}).Draw(rt, "allowed"))
		h := float64(m.Headroom(s, twoHours, allowed))
		y, covered := m.Increase(s, twoHours)
		fails := func(shift float64) bool {
			y, _ := m.increase(s, twoHours, shift)
			return y.Exceeds(allowed)
		}
		e, known := m.extent(s)
		if !known || covered == 0 {
			if known && h != -e.hot || !known && !math.IsInf(h, -1) {
				rt.Fatalf("nothing counted: %v", h)
			}
			return
		}
		if (h < 0) != y.Exceeds(allowed) {
			rt.Fatalf("grown %v of %v, headroom %v", y, allowed, h)
		}
		if fails(h-2*tight) && h > 0 || h < 0 && fails(h-2*tight) || !math.IsInf(h, 0) && !fails(h+2*tight) {
			rt.Fatalf("headroom %v: inside fails %v, outside fails %v", h, fails(h-2*tight), fails(h+2*tight))
		}
		way := h
		if math.IsInf(h, 1) {
			way = 80
		}
		for i := range 200 {
			d := way * (float64(i) + 0.5) / 201
			y, _ := m.increase(s, twoHours, d)
			if h >= 0 && y.Exceeds(allowed*1.001) || h < 0 && !y.Exceeds(allowed*0.999) {
				rt.Fatalf("headroom %v, shifted by %v it grows %v of %v", h, d, y, allowed)
			}
		}
	})
}
