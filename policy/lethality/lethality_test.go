package lethality

import (
	"math"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// of returns a series of readings one minute apart, in degrees.
func of(temperatures ...float64) series.Series {
	var s series.Series
	for i, t := range temperatures {
		r := series.Sample{At: int64(i) * perMinute, T: unit.Unknown}
		if !math.IsNaN(t) {
			r.T = unit.FromFloat(t, unit.Colder)
		}
		s.Samples = append(s.Samples, r)
	}
	return s
}

var unknown = math.NaN()

func TestWhatEarnsNothing(t *testing.T) {
	t.Parallel()
	m, floored := model(t, "100 C", "10 C", ""), model(t, "100 C", "10 C", "100 C")
	for _, c := range []struct {
		name string
		m    Model
		s    series.Series
		gap  time.Duration
		want float64
	}{
		{"no reading", m, of(), time.Minute, 0},
		{"one reading", m, of(100), time.Minute, 0},
		{"at the reference", m, of(100, 100, 100), time.Minute, 2},
		{"a gap", m, of(100, 100, 100), time.Minute - time.Microsecond, 0},
		{"beside an unknown", m, of(100, 100, unknown, 100, 100), time.Minute, 2},
		{"ends in unknown", m, of(unknown, 100, 100, unknown), time.Minute, 1},
		{"at the floor", floored, of(100, 100, 100), time.Minute, 2},
		{"just below the floor", floored, of(99.999999, 99.999999), time.Minute, 0},
		// Half of the interval is above the floor, from rate 1 to rate 10:
		// (10 − 1)/ln 10 for half a minute. Closed form, by hand.
		{"crosses the floor", floored, of(90, 110), time.Minute, 9 / math.Ln10 / 2},
		{"crosses it down", floored, of(110, 90), time.Minute, 9 / math.Ln10 / 2},
		{"touches the floor", floored, of(90, 100, 90), time.Minute, 0},
		{"unknown beside the floor", floored, of(unknown, 110, unknown), time.Minute, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			if got := float64(c.m.Exact(c.s, c.gap)); math.Abs(got-c.want) > 1e-12 {
				t.Errorf("F = %v, want %v", got, c.want)
			}
		})
	}
}

func TestSumStepOnlyWhereTheStepIsUniform(t *testing.T) {
	t.Parallel()
	m := model(t, "100 C", "10 C", "")
	uneven := of(100, 100, 100)
	uneven.Samples[2].At++
	for name, s := range map[string]series.Series{
		"none": of(), "one": of(100), "uneven": uneven, "unknown": of(100, unknown, 100), "equal times": {Samples: []series.Sample{{At: 1}, {At: 1}}},
	} {
		if _, ok := m.SumStep(s, time.Hour); ok {
			t.Errorf("%s: a sum x step is given", name)
		}
	}
	if _, ok := m.SumStep(of(100, 100), time.Second); ok {
		t.Error("a sum x step is given over gaps")
	}
	if got, ok := model(t, "100 C", "10 C", "100 C").SumStep(of(90, 100, 110), time.Hour); !ok || math.Abs(float64(got)-11) > 1e-12 {
		t.Errorf("with a floor %v, %v, want 1 + 10", got, ok)
	}
}

func TestNewRefusesASlippedZ(t *testing.T) {
	t.Parallel()
	ref := unit.Temperature{Value: 121_100_000, Scale: unit.CelsiusScale}
	for _, z := range []unit.Diff{{Value: 0, Scale: unit.KelvinScale}, {Value: 999_999, Scale: unit.KelvinScale}, {Value: 181_000_000, Scale: unit.FahrenheitScale}, {Value: -10_000_000, Scale: unit.KelvinScale}} {
		if _, err := New(ref, z, nil); err == nil {
			t.Errorf("z %v is accepted", z)
		}
	}
}

func TestAbsurdTemperaturesStayFinite(t *testing.T) {
	t.Parallel()
	m := model(t, "100 C", "1 K", "50 C")
	s := of(-99999, 99999, 99998, 99999, 20)
	for _, f := range []Minutes{m.Exact(s, time.Hour), m.Trapezoid(s, time.Hour)} {
		if math.IsNaN(float64(f)) || math.IsInf(float64(f), 0) {
			t.Errorf("F = %v", f)
		}
	}
}

func TestNothingEarnedHasNoHeadroom(t *testing.T) {
	t.Parallel()
	m := model(t, "100 C", "10 C", "")
	if h := m.Headroom(of(100), time.Hour, 1); !math.IsInf(float64(h), -1) {
		t.Errorf("headroom = %v, want −Inf", h)
	}
}

// drawn is a plausible retort record, with gaps and unknowns where wanted.
func drawn(t *rapid.T, holes bool) series.Series {
	n := rapid.IntRange(2, 30).Draw(t, "n")
	var s series.Series
	at := int64(0)
	for range n {
		at += rapid.Int64Range(1, 3*perMinute).Draw(t, "step")
		r := series.Sample{At: at, T: unit.Micro(rapid.Int64Range(60_000_000, 130_000_000).Draw(t, "T"))}
		if holes && rapid.IntRange(0, 9).Draw(t, "hole") == 0 {
			r.T = unit.Unknown
		}
		s.Samples = append(s.Samples, r)
	}
	return s
}

func drawnModel(t *rapid.T, tb testing.TB) Model {
	return model(tb, "121.1 C", rapid.SampledFrom([]string{"6.5 K", "10 K", "18 F"}).Draw(t, "z"), rapid.SampledFrom([]string{"", "90 C", "100 C"}).Draw(t, "from"))
}

func TestExactIsNeverMoreThanTheTrapezoid(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		m, s := drawnModel(rt, t), drawn(rt, true)
		gap := 2 * time.Minute
		if e, tr := m.Exact(s, gap), m.Trapezoid(s, gap); e > tr {
			rt.Fatalf("exact %v is more than the trapezoid %v", e, tr)
		}
	})
}

// TestResamplingChangesNothing: a reading put where the straight line already
// was changes no exact integral. The line is chosen so that the point is a whole
// millionth.
func TestResamplingChangesNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		m, s := drawnModel(rt, t), drawn(rt, false)
		for i := range s.Samples { // even values, so that the middle is whole
			s.Samples[i].At *= 2
			s.Samples[i].T *= 2
			s.Samples[i].T /= 4
			s.Samples[i].T += 60_000_000
			s.Samples[i].T -= s.Samples[i].T % 2
		}
		i := rapid.IntRange(1, len(s.Samples)-1).Draw(rt, "i")
		a, b := s.Samples[i-1], s.Samples[i]
		mid := series.Sample{At: (a.At + b.At) / 2, T: (a.T + b.T) / 2}
		more := series.Series{Samples: append(append(append([]series.Sample{}, s.Samples[:i]...), mid), s.Samples[i:]...)}
		x, y := float64(m.Exact(s, time.Hour)), float64(m.Exact(more, time.Hour))
		if math.Abs(x-y) > 1e-9*max(x, y) {
			rt.Fatalf("%v with the point, %v without", y, x)
		}
	})
}

// TestExactIsTheIntegral compares with a midpoint sum of ten thousand slices of
// one interval: another rule, the same integral.
func TestExactIsTheIntegral(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		m := drawnModel(rt, t)
		a := rapid.Float64Range(80, 130).Draw(rt, "a")
		b := rapid.Float64Range(80, 130).Draw(rt, "b")
		s := of(a, b)
		lo, hi := s.Samples[0].T, s.Samples[1].T
		const slices = 10_000
		var want float64
		for i := range slices {
			x := unit.Micro(math.Round(float64(lo) + (float64(i)+0.5)/slices*float64(hi-lo)))
			if x >= m.from {
				want += m.Rate(x) / slices
			}
		}
		// One slice may lie across the floor.
		slack := 1e-5*want + max(m.Rate(m.from), 0)/slices
		if got := float64(m.Exact(s, time.Hour)); math.Abs(got-want) > slack {
			rt.Fatalf("F = %v, by slices %v", got, want)
		}
	})
}

func TestFahrenheitAndCelsiusAgree(t *testing.T) {
	t.Parallel()
	c, f := model(t, "121.1 C", "10 K", "100 C"), model(t, "249.98 F", "18 F", "212 F")
	rapid.Check(t, func(rt *rapid.T) {
		s := drawn(rt, true)
		inF := series.Series{Samples: append([]series.Sample{}, s.Samples...)}
		for i := range s.Samples { // five millionths of a degree are nine of the other
			if s.Samples[i].T != unit.Unknown {
				s.Samples[i].T -= s.Samples[i].T % 5
				inF.Samples[i].T = unit.Convert(s.Samples[i].T, unit.CelsiusScale, unit.FahrenheitScale, unit.Colder)
			}
		}
		x, y := float64(c.Exact(s, time.Hour)), float64(f.Exact(inF, time.Hour))
		if math.Abs(x-y) > 1e-9*max(x, y) {
			rt.Fatalf("%v in C, %v in F", x, y)
		}
	})
}

// TestHeadroomIsTheRoot: a little less than the headroom colder, the record
// still earns what is required; a little more, and it does not.
func TestHeadroomIsTheRoot(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		m, s := drawnModel(rt, t), drawn(rt, true)
		required := Minutes(rapid.Float64Range(1e-6, 30).Draw(rt, "required"))
		gap := 2 * time.Minute
		h := float64(m.Headroom(s, gap, required))
		if math.IsInf(h, -1) {
			if f := m.Exact(s, gap); f > 0 {
				rt.Fatalf("no headroom for %v", f)
			}
			return
		}
		shifted := func(d float64) Minutes {
			out := series.Series{Samples: append([]series.Sample{}, s.Samples...)}
			for i := range out.Samples {
				if out.Samples[i].T != unit.Unknown {
					out.Samples[i].T -= unit.FromComputed(d, unit.Colder)
				}
			}
			return m.Exact(out, gap)
		}
		if f := shifted(h - 2e-6); f < required {
			rt.Fatalf("at %v − 2e-6 K it earns %v, less than %v", h, f, required)
		}
		if f := shifted(h + 2e-6); f >= required {
			rt.Fatalf("at %v + 2e-6 K it still earns %v, not less than %v", h, f, required)
		}
	})
}

// bench is ten thousand readings of a retort: come-up, hold, cooling.
func bench() series.Series {
	var s series.Series
	for i := range 10_000 {
		t := 121.5 + 0.3*math.Sin(float64(i))
		if i < 2000 {
			t = 60 + 61.5*float64(i)/2000
		}
		s.Samples = append(s.Samples, series.Sample{At: int64(i) * 1_000_000, T: unit.FromFloat(t, unit.Colder)})
	}
	return s
}

func perReading(b *testing.B, f func(series.Series)) {
	s := bench()
	b.ReportAllocs()
	for b.Loop() {
		f(s)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(s.Samples)), "ns/reading")
}

// BenchmarkBare is the loop that nothing can be faster than: one exp a reading.
func BenchmarkBare(b *testing.B) {
	m := model(b, "121.1 C", "10 K", "")
	perReading(b, func(s series.Series) {
		var sum float64
		for _, r := range s.Samples {
			sum += math.Exp(float64(r.T-m.ref) * m.perStep)
		}
		if sum < 0 {
			b.Fatal(sum)
		}
	})
}

func BenchmarkExact(b *testing.B) {
	m := model(b, "121.1 C", "10 K", "")
	perReading(b, func(s series.Series) { m.Exact(s, time.Minute) })
}

func BenchmarkExactFrom(b *testing.B) {
	m := model(b, "121.1 C", "10 K", "100 C")
	perReading(b, func(s series.Series) { m.Exact(s, time.Minute) })
}

func BenchmarkTrapezoid(b *testing.B) {
	m := model(b, "121.1 C", "10 K", "")
	perReading(b, func(s series.Series) { m.Trapezoid(s, time.Minute) })
}

func BenchmarkSumStep(b *testing.B) {
	m := model(b, "121.1 C", "10 K", "")
	perReading(b, func(s series.Series) { m.SumStep(s, time.Minute) })
}

func BenchmarkHeadroomFrom(b *testing.B) {
	m := model(b, "121.1 C", "10 K", "100 C")
	perReading(b, func(s series.Series) { m.Headroom(s, time.Minute, 3) })
}
