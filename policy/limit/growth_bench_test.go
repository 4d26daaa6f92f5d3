package limit

import (
	"math"
	"testing"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// coolingDown is a record of a minute a reading from one temperature down by 25 K,
// wavering by a tenth.
func coolingDown(l Limit, from float64) series.Series {
	at := make([]float64, benchReadings)
	for i := range at {
		at[i] = from - 25*float64(i)/benchReadings + 0.1*math.Sin(float64(i))
	}
	return record(l, time.Minute, c, at...)
}

// bareGrowth is the formula of each form written out and nothing else: the
// integral itself for the square root, for the others the rate at every reading
// and a sum.
var bareGrowth = map[string]func(s []series.Sample) float64{
	"square_root": func(s []series.Sample) float64 {
		var sum float64
		for i := 1; i < len(s); i++ {
			u, v := float64(s[i-1].T)*1e-6, float64(s[i].T)*1e-6
			sum += float64(s[i].At-s[i-1].At) * 0.01 * (u*u + u*v + v*v) / 3
		}
		return sum
	},
	"ratkowsky": func(s []series.Sample) float64 {
		var sum float64
		for i := 1; i < len(s); i++ {
			u := float64(s[i].T) * 1e-6
			g := 1 - math.Exp(0.2*(u-45))
			sum += float64(s[i].At-s[i-1].At) * 0.01 * u * u * g * g
		}
		return sum
	},
	"cardinal": func(s []series.Sample) float64 {
		var sum float64
		for i := 1; i < len(s); i++ {
			u := float64(s[i].T)*1e-6 - 5
			sum += float64(s[i].At-s[i-1].At) * 2 * u * u * (u - 40) / (32 * (32*(u-32) + 8*(32-2*u)))
		}
		return sum
	},
}

var growthSink float64

// BenchmarkGrowth says how many times the bare formula a judgement costs, gaps,
// holes and the ends of growth included, and the worst and best over a bracket.
func BenchmarkGrowth(b *testing.B) {
	for form, v := range map[string]values{
		"square_root": aDecade, "cardinal": peaked,
		"ratkowsky": with(aDecade, "form", "ratkowsky", "c", "0.2", "tmax", "45 C"),
	} {
		l := growthLimit(b, with(v, "logs", "100000"))
		s := coolingDown(l, 38)
		cold := harmed(s, unit.Colder, 500_000)
		for what, f := range map[string]func(){
			"judge":  func() { l.Criterion.Judge(s) },
			"within": func() { l.Criterion.(between).within(cold, s) },
			"evaluate": func() {
				if _, err := l.Evaluate(s, doubt, always); err != nil {
					b.Fatal(err)
				}
			},
		} {
			b.Run(form+"/"+what, func(b *testing.B) {
				b.ReportAllocs()
				var bare, full time.Duration
				for b.Loop() {
					t0 := time.Now()
					growthSink += bareGrowth[form](s.Samples)
					t1 := time.Now()
					f()
					bare, full = bare+t1.Sub(t0), full+time.Since(t1)
				}
				b.ReportMetric(float64(full.Nanoseconds())/float64(b.N)/benchReadings, "ns/reading")
				b.ReportMetric(float64(full)/float64(bare), "x-bare")
			})
		}
	}
}
