package growth

import (
	"math"
	"testing"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

const benchReadings = 10_000

// benchSeries cools by 25 K and wavers by a tenth of a degree from one reading to
// the next.
func benchSeries(m Model, from float64) series.Series {
	s := series.Series{Scale: m.Scale()}
	for i := range benchReadings {
		d := from - 25*float64(i)/benchReadings + 0.1*math.Sin(float64(i))
		s.Samples = append(s.Samples, series.Sample{At: int64(i) * 60_000_000, T: unit.FromFloat(d, unit.Hotter)})
	}
	return s
}

// bare is what no integral can do without: the rate at every reading, written
// out, and a sum.
func bare(m *Model, s series.Series) float64 {
	var sum, last float64
	for _, r := range s.Samples {
		u := float64(r.T-m.tmin) * m.kelvin
		var f float64
		switch m.shape {
		case endless:
			f = m.factor * u * u
		case squared:
			g := 1 - math.Exp(m.c*(u-m.top))
			f = m.factor * u * u * g * g
		case single:
			f = m.factor * u * u * (1 - math.Exp(m.c*(u-m.top)))
		case ratio:
			f = u * u * (u - m.top) / (m.slope*u + m.base)
		}
		sum += (f + last) / 2
		last = f
	}
	return sum
}

var sink float64

func BenchmarkIncrease(b *testing.B) {
	for name, m := range shapes(b) {
		s := benchSeries(m, 40)
		cold := moved(s, func(_ int, x unit.Micro) unit.Micro { return x - 500_000 })
		for what, f := range map[string]func(){
			"bare":     func() { sink = bare(&m, s) },
			"increase": func() { y, _ := m.Increase(s, time.Hour); sink = float64(y) },
			"worst":    func() { y, _ := m.WithinWorst(cold, s, time.Hour); sink = float64(y) },
			"best":     func() { y, _ := m.WithinBest(cold, s, time.Hour); sink = float64(y) },
			"headroom": func() { sink = float64(m.Headroom(s, time.Hour, 1e4)) },
		} {
			b.Run(name+"/"+what, func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					f()
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/benchReadings, "ns/reading")
			})
		}
	}
}
