package growth

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestPointsAndWeights: ∫ xᵏ over [−1, 1] is 2/(k+1) for every even k that n
// points are exact for.
func TestPointsAndWeights(t *testing.T) {
	t.Parallel()
	for degree := 0; degree <= 14; degree += 2 {
		k, want := float64(degree), 1/float64(degree+1)
		if degree <= 6 {
			near(t, "four points", 2*(outerWeight*math.Pow(outer, k)+innerWeight*math.Pow(inner, k)), want, 1e-14)
		}
		var sum float64
		for i, x := range abscissas {
			sum += weights[i] * math.Pow(x, k)
		}
		near(t, "eight points", sum, want, 1e-14)
	}
}

// TestAPointOnTheLineChangesNothing: a reading more between two readings, on the
// straight line, leaves the integral as it is, to 1e-9 of it.
func TestAPointOnTheLineChangesNothing(t *testing.T) {
	t.Parallel()
	for name, m := range shapes(t) {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			rapid.Check(t, func(rt *rapid.T) {
				a := rapid.Float64Range(-5, 60).Draw(rt, "a")
				width := rapid.SampledFrom([]float64{0.01, 0.3, 1, 5, 40}).Draw(rt, "width")
				b := a + width*rapid.Float64Range(-1, 1).Draw(rt, "b")
				x := rapid.Float64Range(0, 1).Draw(rt, "where")
				mid := a + x*(b-a)
				whole, parts := m.mean(a, b), x*m.mean(a, mid)+(1-x)*m.mean(mid, b)
				// At the very ends of growth a rate is what is left of differences:
				// there 1e-9 of a thousandth of the fastest.
				room := 1e-9 * math.Max(whole, 1e-6*m.rate(min(m.opt, 30)))
				if math.Abs(whole-parts) > room {
					rt.Fatalf("%v to %v over %v: %v, in two parts %v", a, b, mid, whole, parts)
				}
			})
		})
	}
}

// TestNearAndFarAgree: where the short rule just still applies it gives what the
// long one does.
func TestNearAndFarAgree(t *testing.T) {
	t.Parallel()
	for name, m := range shapes(t) {
		if m.shape == endless {
			continue // has one rule
		}
		for share := 0.05; share < 1; share += 0.05 {
			mid := share * m.top
			half := nearFold / m.c / 2
			if m.shape == ratio {
				half = math.Abs(nearPole / 2 * (m.slope*mid + m.base) / m.slope)
			}
			half = 0.999 * min(half, mid, m.top-mid)
			near(t, name, m.mean(mid-half, mid+half), m.far(mid-half, mid+half), 1e-9)
		}
	}
}
