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

// coolingSeries is a record of a product that cools, with some noise.
func coolingSeries(l Limit, n int, over time.Duration) series.Series {
	at := make([]float64, n)
	for i := range at {
		at[i] = 3 + 67*math.Exp(-5*float64(i)/float64(n)) + 0.2*math.Sin(float64(i))
	}
	return record(l, over/time.Duration(n), c, at...)
}

// benched are limits of every kind with records near them, so that nothing is
// settled by the first look.
var benched = []struct {
	name, kind string
	v          values
	around     float64
}{
	{"at_least", "at_least", values{"temperature": "74 C"}, 76},
	{"at_most", "at_most", values{"temperature": "5 C", "max_gap": "1m"}, 3},
	{"allow", "at_most", values{"temperature": "5 C", "max_gap": "1m", "allow.above": "5 C", "allow.total": "30m"}, 4.5},
	{"hold", "hold", values{"at_least": "72 C", "for": "15s", "max_gap": "2s"}, 74},
	{"lethality", "lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "1m"}, 121},
	{"lethality_from", "lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "1m", "from": "120 C"}, 121},
	{"dwell_table", "dwell_table", values{"table": "72 C, 112m; 73 C, 12m; 74 C, 70s; 75 C, 10s", "max_gap": "2m"}, 74},
	{"log_reduction", "log_reduction", values{"reference": "70 C", "z": "6.5 K", "d": "9s", "logs": "7", "max_gap": "1m"}, 70},
	{"exposure", "exposure", values{"bands": "10 C, 21.1 C, 5h; 21.1 C, 100 C, 2h", "max_gap": "30m"}, 10},
	{"cooling", "cooling", values{"stages": "57 C, 21 C, 2h; 57 C, 5 C, 6h", "max_gap": "30m"}, 0},
}

// benchedSeries is n readings under one of them.
func benchedSeries(l Limit, around float64, n int) series.Series {
	if l.Kind == "cooling" {
		return coolingSeries(l, n, 6*time.Hour)
	}
	at := make([]float64, n)
	for i := range at {
		at[i] = around + math.Sin(float64(i))
	}
	return record(l, time.Second, c, at...)
}

func BenchmarkEvaluate(b *testing.B) {
	for _, x := range benched {
		b.Run(x.name, func(b *testing.B) {
			l := newLimit(b, x.kind, x.v)
			s := benchedSeries(l, x.around, benchReadings)
			perReading(b, func() {
				if _, err := l.Evaluate(s, doubt, always); err != nil {
					b.Fatal(err)
				}
			})
		})
	}
}

// BenchmarkEvaluateLong is three days of a reading a second, with the onset
// anywhere in it and the lot on the edge of its limit: the dearest there is.
func BenchmarkEvaluateLong(b *testing.B) {
	const n = 260_000
	errs := metrology.Constant(-0.4, 1.4, 0, 1, 0.2, start-1, start+n*1_000_000, start+n*1_000_000)
	for _, x := range edged {
		b.Run(x.name, func(b *testing.B) {
			l := newLimit(b, x.kind, x.v)
			s := benchedSeries(l, x.around, n)
			o := Onset{After: start - 1, FailedAt: s.Samples[n-1].At + 1}
			b.ReportAllocs()
			for b.Loop() {
				if _, err := l.Evaluate(s, errs, o); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(b.Elapsed().Seconds()*1000/float64(b.N), "ms/evaluation")
		})
	}
}

// edged are limits of every kind that a record of three days is on the edge of,
// under the errors of BenchmarkEvaluateLong.
var edged = []struct {
	name, kind string
	v          values
	around     float64
}{
	{"at_least", "at_least", values{"temperature": "74 C"}, 75.5},
	{"allow", "at_most", values{"temperature": "5 C", "max_gap": "1m", "allow.above": "5 C", "allow.total": "30h"}, 4.8},
	{"hold", "hold", values{"at_least": "72 C", "for": "60h", "max_gap": "2s"}, 73.5},
	{"lethality", "lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "1m", "minutes": "4000"}, 121},
	{"lethality_from", "lethality", values{"reference": "121.1 C", "z": "10 K", "max_gap": "1m", "from": "120 C", "minutes": "3000"}, 121},
	{"dwell_table", "dwell_table", values{"table": "72 C, 60h; 73 C, 12h; 74 C, 70m; 75 C, 10s", "max_gap": "2m"}, 73.4},
	{"log_reduction", "log_reduction", values{"reference": "70 C", "z": "6.5 K", "d": "9m", "logs": "430", "max_gap": "1m"}, 70},
	{"exposure", "exposure", values{"bands": "10 C, 11 C, 30h; 11 C, 100 C, 10h", "max_gap": "30m"}, 10},
	{"cooling", "cooling", values{"stages": "57 C, 21 C, 91m; 57 C, 5 C, 4h", "max_gap": "30m"}, 0},
}

// BenchmarkJudge sets every kind against the bare loop of its formula: no holes,
// no ends of the lot, no other scale.
func BenchmarkJudge(b *testing.B) {
	for _, x := range benched {
		b.Run(x.name, func(b *testing.B) {
			l := newLimit(b, x.kind, x.v)
			s := benchedSeries(l, x.around, benchReadings)
			loop := bare[x.name]
			perReading(b, func() { l.Criterion.Judge(s) })
			judged := b.Elapsed()
			began := time.Now()
			for range b.N {
				kept += loop(s.Samples)
			}
			b.ReportMetric(float64(judged)/float64(time.Since(began)), "x-bare")
		})
	}
}

// kept is what bare loops give, so that they are not left out.
var kept float64
