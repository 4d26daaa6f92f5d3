package interval

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// equal are n intervals of one length, of which the first outside ones ended
// outside tolerance.
func equal(days float64, n, outside int) []span {
	out := make([]span, n)
	for i := range out {
		out[i] = span{days: days, outside: i < outside}
	}
	return out
}

// TestRateOfEqualIntervals: there the likeliest rate has a closed form.
func TestRateOfEqualIntervals(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 200).Draw(t, "n")
		outside := rapid.IntRange(0, n-1).Draw(t, "outside")
		days := rapid.Float64Range(0.1, 400).Draw(t, "days")
		got, ok := failureRate(equal(days, n, outside))
		want := -math.Log(float64(n-outside)/float64(n)) / days
		if !ok || math.Abs(got-want) > 1e-9*want {
			t.Fatalf("%d of %d in %g days: %g, want %g", outside, n, days, got, want)
		}
	})
}

// TestBoundIsNeverTooLow: for equal intervals the binomial bound is exact, and
// leaving out what nobody knows can only raise it.
func TestBoundIsNeverTooLow(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 200).Draw(t, "n")
		outside := rapid.IntRange(0, n-1).Draw(t, "outside")
		days := rapid.Float64Range(0.1, 400).Draw(t, "days")
		confidence := rapid.Float64Range(0.5, 0.99).Draw(t, "confidence")
		fails := distuv.Beta{Alpha: float64(outside + 1), Beta: float64(n - outside)}.Quantile(confidence)
		exact := -math.Log1p(-fails) / days
		if got := failureRateBound(equal(days, n, outside), confidence); got < exact*(1-1e-9) {
			t.Fatalf("%d of %d: bound %g, the binomial one is %g", outside, n, got, exact)
		}
	})
}

func TestRatesThatCannotBeStated(t *testing.T) {
	t.Parallel()
	if _, ok := failureRate(nil); ok {
		t.Error("a rate without a history")
	}
	if _, ok := failureRate(equal(7, 3, 3)); ok {
		t.Error("a rate although every check failed")
	}
	for _, spans := range [][]span{nil, equal(7, 3, 3)} {
		if got := failureRateBound(spans, 0.9); !math.IsInf(got, 1) {
			t.Errorf("a bound of %g", got)
		}
	}
}

// TestUnequalIntervals: the likelihood is highest at the rate found.
func TestUnequalIntervals(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		spans := []span{{days: rapid.Float64Range(1, 100).Draw(t, "within")}, {days: rapid.Float64Range(1, 100).Draw(t, "outside"), outside: true}}
		for range rapid.IntRange(0, 20).Draw(t, "more") {
			spans = append(spans, span{days: rapid.Float64Range(1, 100).Draw(t, "days"), outside: rapid.Bool().Draw(t, "out")})
		}
		likelihood := func(rate float64) float64 {
			sum := 0.0
			for _, s := range spans {
				if s.outside {
					sum += math.Log(-math.Expm1(-rate * s.days))
				} else {
					sum -= rate * s.days
				}
			}
			return sum
		}
		rate, ok := failureRate(spans)
		if !ok {
			t.Fatal("no rate")
		}
		for _, other := range []float64{rate * 0.99, rate * 1.01} {
			if likelihood(other) > likelihood(rate) {
				t.Fatalf("%g is likelier than %g", other, rate)
			}
		}
	})
}

// TestAffectedAgainstSmallSteps: the closed form is the mean over the interval.
func TestAffectedAgainstSmallSteps(t *testing.T) {
	t.Parallel()
	for _, c := range [][2]float64{{7, 0}, {7, 1e-6}, {7, 0.01}, {30, 0.1}, {365, 0.05}} {
		const n = 200_000
		var weight, sum float64
		for i := range n {
			onset := (float64(i) + 0.5) * c[0] / n
			w := math.Exp(-c[1] * onset)
			weight += w
			sum += w * (c[0] - onset)
		}
		got := affected(c[0], c[1])
		if math.Abs(got-sum/weight) > 1e-6*c[0] {
			t.Errorf("T %g, λ %g: %g, by small steps %g", c[0], c[1], got, sum/weight)
		}
		if got < c[0]/2 || got > c[0] {
			t.Errorf("T %g, λ %g: %g is not between half of it and all of it", c[0], c[1], got)
		}
	}
}

// TestStaircaseComesToRest: at the reliability aimed at, gains and losses cancel.
func TestStaircaseComesToRest(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0.01, 0.5).Draw(t, "increase")
		passes := rapid.IntRange(1, 19).Draw(t, "passes of 20")
		b, err := ReductionFactor(a, float64(passes)/20)
		if err != nil || !(b > 0 && b <= 1) {
			t.Fatalf("b is %g, %v", b, err)
		}
		if b > 1-1e-9 {
			t.Skip("the decrease rounds to all of it")
		}
		days := 30.0
		for i := range 20 {
			days = SimpleResponse(days, a, b, i < passes)
		}
		if math.Abs(days-30) > 1e-5 { // b near 1 loses digits in 1 − b
			t.Fatalf("after twenty checks it is %g days", days)
		}
	})
}
