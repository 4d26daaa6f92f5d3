package sampling

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// brute counts the samples of a small lot one by one: units 0 to never−1 may not
// be found at all, the next counted ones count against c.
func brute(n, c, lot, counted, never int) *big.Rat {
	var pass, all int64
	for set := range 1 << lot {
		size, bad, forbidden := 0, 0, false
		for u := range lot {
			if set>>u&1 == 0 {
				continue
			}
			size++
			switch {
			case u < never:
				forbidden = true
			case u < never+counted:
				bad++
			}
		}
		if size != n {
			continue
		}
		all++
		if !forbidden && bad <= c {
			pass++
		}
	}
	return big.NewRat(pass, all)
}

func TestSmallLotsByCounting(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lot := rapid.IntRange(2, 10).Draw(t, "lot")
		n := rapid.IntRange(1, lot).Draw(t, "n")
		c := rapid.IntRange(0, n-1).Draw(t, "c")
		counted := rapid.IntRange(0, lot).Draw(t, "counted")
		never := rapid.IntRange(0, lot-counted).Draw(t, "never")
		p := Plan{N: n, C: c, Classes: 3}
		got, err := p.PassesLot(Counts{Lot: lot, Marginal: counted, Defective: never})
		if err != nil {
			t.Fatal(err)
		}
		if want := brute(n, c, lot, counted, never); got.Cmp(want) != 0 {
			t.Fatalf("n %d c %d of %d with %d and %d: %v, counted %v", n, c, lot, counted, never, got, want)
		}
	})
}

// TestCharacteristicFalls: more defective units never pass more often, and a
// larger c or a smaller n never less often.
func TestCharacteristicFalls(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 300).Draw(t, "n")
		c := rapid.IntRange(0, n-2).Draw(t, "c")
		p := Plan{N: n, C: c, Classes: 2}
		few := rapid.Float64Range(0, 1).Draw(t, "share")
		many := rapid.Float64Range(few, 1).Draw(t, "larger share")
		at := func(p Plan, share float64) float64 {
			pa, err := p.Passes(Rates{Defective: share})
			if err != nil || pa < 0 || pa > 1 {
				t.Fatalf("%v at %g: %g, %v", p, share, pa, err)
			}
			return pa
		}
		if at(p, many) > at(p, few) {
			t.Fatal("more defective units pass more often")
		}
		if at(Plan{N: n, C: c + 1, Classes: 2}, few) < at(p, few) {
			t.Fatal("a larger c passes less often")
		}
		if at(Plan{N: n + 1, C: c, Classes: 2}, few) > at(p, few) {
			t.Fatal("another sample passes more often")
		}
	})
}

// TestThreeClassesHoldTwo: with no units between m and M, and with none above M,
// the trinomial is the binomial.
func TestThreeClassesHoldTwo(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 200).Draw(t, "n")
		c := rapid.IntRange(0, n-1).Draw(t, "c")
		share := rapid.Float64Range(0, 1).Draw(t, "share")
		two, _ := Plan{N: n, C: c, Classes: 2}.Passes(Rates{Defective: share})
		three, _ := Plan{N: n, C: c, Classes: 3}.Passes(Rates{Marginal: share})
		if two != three {
			t.Fatalf("%g in two classes, %g in three", two, three)
		}
		none, _ := Plan{N: n, C: 0, Classes: 2}.Passes(Rates{Defective: share})
		above, _ := Plan{N: n, C: c, Classes: 3}.Passes(Rates{Defective: share})
		if none != above {
			t.Fatalf("%g with c 0, %g above M", none, above)
		}
	})
}

// TestProofInvertsTheCharacteristic: a lot with exactly the share that is still
// allowed passes with 1 − γ.
func TestProofInvertsTheCharacteristic(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 500).Draw(t, "n")
		c := rapid.IntRange(0, n-1).Draw(t, "c")
		confidence := rapid.Float64Range(0.01, 0.999).Draw(t, "confidence")
		share, err := Proves(n, c, confidence)
		if err != nil {
			t.Fatal(err)
		}
		pa, err := Plan{N: n, C: c, Classes: 2}.Passes(Rates{Defective: share})
		if err != nil || math.Abs(pa-(1-confidence)) > 1e-9 {
			t.Fatalf("allows %g, which passes with %g instead of %g (%v)", share, pa, 1-confidence, err)
		}
	})
}

// TestLotProofIsTheEdge: the allowed number of units is not excluded, and one
// more is.
func TestLotProofIsTheEdge(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		lot := rapid.IntRange(2, 400).Draw(t, "lot")
		n := rapid.IntRange(1, lot).Draw(t, "n")
		found := rapid.IntRange(0, n).Draw(t, "found")
		confidence := rapid.SampledFrom([]float64{0.5, 0.8, 0.9, 0.95, 0.99}).Draw(t, "confidence")
		units, err := ProvesLot(n, found, lot, confidence)
		if err != nil {
			t.Fatal(err)
		}
		limit := doubt(confidence)
		if passesLot(n, found, lot, units, 0).Cmp(limit) <= 0 {
			t.Fatalf("%d units are allowed and excluded", units)
		}
		if units < lot && passesLot(n, found, lot, units+1, 0).Cmp(limit) > 0 {
			t.Fatalf("%d units are allowed, and so are %d", units, units+1)
		}
		if units < found || lot-units < n-found {
			t.Fatalf("%d of %d units, after %d of %d samples", units, lot, found, n)
		}
	})
}

// TestSampleSizeIsTheEdge: n is enough and n − 1 is not, for both kinds of lot.
func TestSampleSizeIsTheEdge(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		confidence := rapid.SampledFrom([]float64{0.5, 0.75, 0.8, 0.9, 0.95, 0.99}).Draw(t, "confidence")
		share := rapid.SampledFrom([]float64{0.001, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5}).Draw(t, "share")
		n, err := SampleSize(share, confidence)
		if err != nil {
			t.Fatal(err)
		}
		miss := func(n int) float64 {
			pa, _ := Plan{N: n, Classes: 2}.Passes(Rates{Defective: share})
			return pa
		}
		if miss(n) > 1-confidence+1e-12 || n > 1 && miss(n-1) <= 1-confidence-1e-12 {
			t.Fatalf("%d samples for %g at %g", n, share, confidence)
		}
		lot := rapid.IntRange(1, 2000).Draw(t, "lot")
		defective := rapid.IntRange(1, lot).Draw(t, "defective")
		few, err := SampleSizeLot(lot, defective, confidence)
		if err != nil {
			t.Fatal(err)
		}
		limit := doubt(confidence)
		if passesLot(few, 0, lot, defective, 0).Cmp(limit) > 0 || few > 1 && passesLot(few-1, 0, lot, defective, 0).Cmp(limit) <= 0 {
			t.Fatalf("%d samples for %d of %d at %g", few, defective, lot, confidence)
		}
	})
}

// TestExactlyEqualIsEnough: halves and fifths that come out even.
func TestExactlyEqualIsEnough(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		share, confidence float64
		want              int
	}{
		{0.5, 0.75, 2},   // 0.5² = 0.25
		{0.2, 0.36, 2},   // 0.8² = 0.64
		{0.1, 0.271, 3},  // 0.9³ = 0.729
		{0.1, 0.2711, 4}, // just more
		{1, 0.99, 1},     // every unit
	} {
		if n, err := SampleSize(c.share, c.confidence); err != nil || n != c.want {
			t.Errorf("%g at %g: %d samples, %v; want %d", c.share, c.confidence, n, err, c.want)
		}
	}
	// N 100, D 2, 80 %: with 55 samples the chance of finding none is 45·44/(100·99) = 0.2.
	if n, err := SampleSizeLot(100, 2, 0.8); err != nil || n != 55 {
		t.Errorf("%d samples, %v; want 55", n, err)
	}
}

func TestOutOfRange(t *testing.T) {
	t.Parallel()
	refused := func(name string, err error) {
		t.Helper()
		if err == nil {
			t.Errorf("%s is computed", name)
		}
	}
	two, three := Plan{N: 5, Classes: 2}, Plan{N: 5, Classes: 3}
	for name, r := range map[string]Rates{"negative": {Defective: -0.1}, "above one": {Defective: 1.1},
		"no number": {Defective: math.NaN()}, "marginal in two classes": {Marginal: 0.1}} {
		_, err := two.Passes(r)
		refused(name, err)
	}
	_, err := three.Passes(Rates{Marginal: 0.6, Defective: 0.6})
	refused("more than all", err)
	for name, u := range map[string]Counts{"no lot": {}, "fewer than n": {Lot: 4}, "too large": {Lot: MaxLot + 1},
		"more defective than units": {Lot: 9, Defective: 10}, "negative": {Lot: 9, Defective: -1}, "marginal": {Lot: 9, Marginal: 1}} {
		_, err := two.PassesLot(u)
		refused(name, err)
	}
	for _, v := range [][2]int{{0, 0}, {5, 6}, {5, -1}, {MaxSamples + 1, 0}} {
		_, err := Proves(v[0], v[1], 0.95)
		refused("a proof of nothing", err)
		_, err = ProvesLot(v[0], v[1], 100, 0.95)
		refused("a proof of nothing in a lot", err)
	}
	_, err = SampleSize(1e-12, 0.95)
	refused("a needle", err)
	_, err = SampleSize(0, 0.95)
	refused("nothing to find", err)
	_, err = SampleSizeLot(10, 11, 0.95)
	refused("more than the lot", err)
	for _, confidence := range []float64{0, 1, math.NaN()} {
		_, err = SampleSize(0.1, confidence)
		refused("a confidence", err)
	}
}

// TestFarTails: float64 arithmetic would underflow or cancel here.
func TestFarTails(t *testing.T) {
	t.Parallel()
	pa, err := Plan{N: 5000, C: 4999, Classes: 2}.Passes(Rates{Defective: 0.5})
	if err != nil || pa != 1 { // 1 − 2⁻⁵⁰⁰⁰
		t.Errorf("%g, %v; want 1", pa, err)
	}
	pa, err = Plan{N: 2000, C: 900, Classes: 2}.Passes(Rates{Defective: 0.5})
	// Symmetry: P(X ≤ 900) of n 2000, p ½ is its own mirror, P(X ≥ 1100).
	mirror, err2 := Plan{N: 2000, C: 1099, Classes: 2}.Passes(Rates{Defective: 0.5})
	if err != nil || err2 != nil || math.Abs(pa+mirror-1) > 1e-15 || pa == 0 {
		t.Errorf("%g and %g do not add up to 1 (%v, %v)", pa, mirror, err, err2)
	}
	if n, err := SampleSizeLot(MaxLot, MaxLot/1000, 0.99); err != nil || n < 4500 || n > 4603 {
		t.Errorf("%d samples of the largest lot, %v; a little less than the 4603 of an endless one", n, err)
	}
}
