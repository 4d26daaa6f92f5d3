package growth

import (
	"errors"
	"math"
	"testing"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

func TestParametersRefused(t *testing.T) {
	t.Parallel()
	for _, x := range []struct {
		at string
		p  Parameters
	}{
		{"form", Parameters{Form: "linear", Rate: LnPerHour}},
		{"rate", squareRoot("", 0.1, 5)},
		{"b", squareRoot(LnPerHour, 0, 5)},
		{"b", squareRoot(LnPerHour, 1.1, 5)},
		{"b", ratkowsky(LnPerHour, 2, 5, 0.2, 45)},
		{"b", squareRoot(LnPerHour, math.NaN(), 5)},
		{"c", ratkowsky(LnPerHour, 0.02, 5, 0, 45)},
		{"c", modified(LnPerHour, 0.02, 5, 6, 45)},
		{"tmax", ratkowsky(LnPerHour, 0.02, 5, 0.2, 5)},
		{"tmax", ratkowsky(LnPerHour, 0.02, 5, 0.2, 156)},
		{"mu_opt", cardinal(LnPerHour, 5, 37, 45, 0)},
		{"mu_opt", cardinal(LnPerHour, 5, 37, 45, 51)},
		{"tmax", cardinal(LnPerHour, 5, 37, 4, 1)},
		{"topt", cardinal(LnPerHour, 5, 45, 45, 1)},
		{"topt", cardinal(LnPerHour, 5, 25, 45, 1)}, // half way: no maximum there
	} {
		_, err := New(x.p)
		var p *ParameterError
		if !errors.As(err, &p) || p.Parameter != x.at || p.Detail == "" {
			t.Errorf("%+v: %v, want %s", x.p, err, x.at)
		}
	}
}

// TestOptimum: nothing near the optimum grows faster, and the cardinal one is
// where it was put, with the rate that was put there.
func TestOptimum(t *testing.T) {
	t.Parallel()
	for name, m := range shapes(t) {
		opt, ok := m.Optimum()
		if m.shape == endless {
			if ok {
				t.Errorf("%s has an optimum", name)
			}
			continue
		}
		lo, hi := m.Range()
		if !ok || opt <= lo || opt >= hi {
			t.Errorf("%s: optimum at %v, growth from %v to %v", name, opt, lo, hi)
		}
		best := m.rate(m.opt)
		for d := -0.05; d <= 0.05; d += 0.001 {
			if f := m.rate(m.opt + d); f > best*(1+1e-12) {
				t.Errorf("%s: faster %v K from its optimum: %v, %v", name, d, f, best)
			}
		}
		if want := map[string]float64{"cardinal": 5.64, "cardinal, sharp": 2, "cardinal, flat": 2, "cardinal, middle": 1}[name]; want != 0 {
			near(t, name, best, want, 1e-9) // GM-007, mu_opt, and shapes
		}
	}
}

// TestRules are the rules of the record: what is counted and what is not.
func TestRules(t *testing.T) {
	t.Parallel()
	m := model(t, squareRoot(Log10PerHour, 0.1, 0)) // one decade per hour at 10 C
	at := func(hours float64, t unit.Micro) series.Sample {
		return series.Sample{At: 1 + int64(hours*hour), T: t}
	}
	const ten, unknown = 10_000_000, unit.Unknown
	for _, x := range []struct {
		name       string
		s          []series.Sample
		start, end int64
		want       float64
		covered    time.Duration
	}{
		{"nothing", nil, 0, 0, 0, 0},
		{"one reading", []series.Sample{at(0, ten)}, 0, 0, 0, 0},
		{"an hour", []series.Sample{at(0, ten), at(1, ten)}, 0, 0, 1, time.Hour},
		{"at the gap's length", []series.Sample{at(0, ten), at(2, ten)}, 0, 0, 2, 2 * time.Hour},
		{"a gap", []series.Sample{at(0, ten), at(2.1, ten), at(3.1, ten)}, 0, 0, 1, time.Hour},
		{"around unknown", []series.Sample{at(0, ten), at(1, unknown), at(2, ten), at(3, ten)}, 0, 0, 1, time.Hour},
		{"at Tmin", []series.Sample{at(0, 0), at(1, 0)}, 0, 0, 0, time.Hour},
		{"below Tmin", []series.Sample{at(0, -ten), at(1, -ten)}, 0, 0, 0, time.Hour},
		{"through Tmin", []series.Sample{at(0, -ten), at(2, ten)}, 0, 0, 1. / 3, 2 * time.Hour}, // ∫ of t² over the second hour
		{"twice at once", []series.Sample{at(0, ten), at(0, 2*ten), at(1, 2*ten)}, 0, 0, 4, time.Hour},
		{"before and after", []series.Sample{at(1, ten), at(2, ten)}, 1, 1 + 3*hour, 3, 3 * time.Hour},
		{"ends too far away", []series.Sample{at(3, ten), at(4, ten)}, 1, 1 + 7*hour, 1, time.Hour},
		{"ends beside unknown", []series.Sample{at(1, unknown), at(2, ten), at(3, unknown)}, 1, 1 + 4*hour, 0, 0},
	} {
		y, covered := m.Increase(series.Series{Samples: x.s, Start: x.start, End: x.end}, 2*time.Hour)
		if math.Abs(float64(y)-x.want) > 1e-12 || covered != x.covered {
			t.Errorf("%s: %v over %v, want %v over %v", x.name, y, covered, x.want, x.covered)
		}
		same := series.Series{Samples: x.s, Start: x.start, End: x.end}
		if z, c := m.WithinWorst(same, same, 2*time.Hour); z != y || c != covered {
			t.Errorf("%s: worst of one line %v over %v, the line itself %v over %v", x.name, z, c, y, covered)
		}
	}
}

// TestBandAcrossTheOptimum: the worst of a band that stays around the optimum is
// the optimum's rate, the best that of the slower end. By hand.
func TestBandAcrossTheOptimum(t *testing.T) {
	t.Parallel()
	m := model(t, cardinal(Log10PerHour, 5, 37, 45, 2))
	cold, hot := record(m, time.Hour, 30, 30), record(m, time.Hour, 44, 44)
	worst, _ := m.WithinWorst(cold, hot, time.Hour)
	best, _ := m.WithinBest(cold, hot, time.Hour)
	near(t, "worst", float64(worst), 2, 1e-9)
	near(t, "best", float64(best), min(m.Rate(30_000_000), m.Rate(44_000_000)), 1e-12)
	// The band closes on the optimum from both sides: worst the optimum all the
	// way, best the slower of the two lines at each moment.
	cold, hot = record(m, time.Hour, 6, 37), record(m, time.Hour, 44.9, 37)
	worst, _ = m.WithinWorst(cold, hot, time.Hour)
	near(t, "closing, worst", float64(worst), 2, 1e-9)
	best, _ = m.WithinBest(cold, hot, time.Hour)
	sum, const1e5 := 0.0, 100_000
	for i := range const1e5 {
		s := (float64(i) + 0.5) / float64(const1e5)
		sum += min(m.rate(1+s*31), m.rate(39.9-s*7.9))
	}
	near(t, "closing, best", float64(best), sum/float64(const1e5), 1e-7)
}

// TestHeadroomPastTheOptimum: a lot held above the optimum gets into its
// fastest growth on the way to hotter, or never. By hand.
func TestHeadroomPastTheOptimum(t *testing.T) {
	t.Parallel()
	m := model(t, cardinal(Log10PerHour, 5, 37, 45, 2))
	// An hour at 43 and, beside nothing known, two at 20: 2 K hotter the first hour
	// is at Tmax, 17 K hotter the two are at the optimum, with four decades. Colder
	// the first hour comes to the optimum before the two lose what it gains.
	twoPlaces := record(m, time.Hour, 43, 43, 0, 0, 0, 20, 20, 20)
	for i := 2; i < 5; i++ {
		twoPlaces.Samples[i].T = unit.Unknown
	}
	for _, x := range []struct {
		name    string
		s       series.Series
		allowed Logs
		lo, hi  float64
	}{
		{"never enough", record(m, time.Hour, 30, 30), 2.1, math.Inf(1), math.Inf(1)},
		{"just enough at the optimum", record(m, time.Hour, 30, 30), 1.999999, 6.9, 7},
		{"from above, falling", record(m, time.Hour, 40, 40), 1.9, math.Inf(1), math.Inf(1)},
		{"from above, too much", record(m, time.Hour, 38, 38), 1, -20, -10},
		{"too hot to grow", record(m, time.Hour, 50, 50), 0.1, math.Inf(1), math.Inf(1)},
		{"two places, the later one", twoPlaces, 2.5, 6, 7},
		{"two places, the later one, more", twoPlaces, 3.9, 14, 15},
		{"two places, colder grows more first", twoPlaces, 2.4, -7, -6},
		{"two places, never enough", twoPlaces, 4.01, math.Inf(1), math.Inf(1)},
		{"one reading", record(m, time.Hour, 30), 1, -25, -25},
	} {
		h := float64(m.Headroom(x.s, 2*time.Hour, x.allowed))
		if !(h >= x.lo && h <= x.hi) {
			t.Errorf("%s: headroom %v, want from %v to %v", x.name, h, x.lo, x.hi)
		}
	}
	if h := m.Headroom(series.Series{}, time.Hour, 1); !math.IsInf(float64(h), -1) {
		t.Errorf("of nothing: %v", h)
	}
}

// TestInclusive: an increase of exactly what is allowed is not more.
func TestInclusive(t *testing.T) {
	t.Parallel()
	for _, b := range []float64{0.01, 0.03, 0.07, 0.1, 0.3} {
		m := model(t, squareRoot(Log10PerHour, b, 0))
		s := record(m, time.Hour, 10, 10, 10, 10, 10, 10, 10, 10)
		y, _ := m.Increase(s, time.Hour)
		exact := Logs(7 * b * b * 100)
		if y.Exceeds(exact) || !(y * (1 + 1e-11)).Exceeds(exact) {
			t.Errorf("b %v: %v against %v", b, y, exact)
		}
	}
}
