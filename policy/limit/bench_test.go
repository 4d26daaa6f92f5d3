package limit

import (
	"math"
	"testing"
	"time"

	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// benchReadings is one reading a second for most of three hours.
const benchReadings = 10_000

// benchSeries wavers around a temperature.
func benchSeries(l Limit, around float64) series.Series {
	at := make([]float64, benchReadings)
	for i := range at {
		at[i] = around + math.Sin(float64(i))
	}
	return record(l, time.Second, c, at...)
}

var doubt = metrology.Constant(-0.4, 1.4, 0, 1, 0.2, always.After, always.FailedAt, always.FailedAt)

func perReading(b *testing.B, f func()) {
	b.ReportAllocs()
	for b.Loop() {
		f()
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/benchReadings, "ns/reading")
}

// BenchmarkBare is what no evaluation can do without: the error of each reading
// and a comparison.
func BenchmarkBare(b *testing.B) {
	l := newLimit(b, "at_least", values{"temperature": "74 C"})
	s := benchSeries(l, 76)
	perReading(b, func() {
		low := unit.Micro(math.MaxInt64)
		for _, r := range s.Samples {
			e, _ := doubt.At(r.At, unit.ToCelsius(r.T, c))
			low = min(low, r.T-unit.FromComputed(float64(e.Hi), unit.Hotter))
		}
		if low == 0 {
			b.Fatal(low)
		}
	})
}

func BenchmarkEvaluate(b *testing.B) {
	for name, x := range map[string]struct {
		kind   string
		v      values
		around float64
	}{
		"at_least":       {"at_least", values{"temperature": "74 C"}, 76},
		"at_most":        {"at_most", values{"temperature": "5 C", "max_gap": "1m"}, 3},
		"allow":          {"at_most", values{"temperature": "5 C", "max_gap": "1m", "allow.above": "5 C", "allow.total": "30m"}, 4.5},
		"hold":           {"hold", values{"at_least": "72 C", "for": "15s", "max_gap": "2s"}, 74},
		"lethality":      {"lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "1m"}, 121},
		"lethality_from": {"lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "1m", "from": "120 C"}, 121},
	} {
		b.Run(name, func(b *testing.B) {
			l := newLimit(b, x.kind, x.v)
			s := benchSeries(l, x.around)
			perReading(b, func() {
				if _, err := l.Evaluate(s, doubt, always); err != nil {
					b.Fatal(err)
				}
			})
		})
	}
}

func BenchmarkJudge(b *testing.B) {
	for name, x := range map[string]struct {
		kind string
		v    values
	}{
		"at_least":  {"at_least", values{"temperature": "74 C"}},
		"allow":     {"at_most", values{"temperature": "74 C", "max_gap": "1m", "allow.above": "74 C", "allow.total": "30m"}},
		"hold":      {"hold", values{"at_least": "74 C", "for": "15s", "max_gap": "2s"}},
		"lethality": {"lethality", values{"reference": "74 C", "z": "10 K", "max_gap": "1m"}},
	} {
		b.Run(name, func(b *testing.B) {
			l := newLimit(b, x.kind, x.v)
			s := benchSeries(l, 74)
			perReading(b, func() { l.Criterion.Judge(s) })
		})
	}
}
