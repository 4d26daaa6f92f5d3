package main

import (
	"math"
	"path/filepath"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/api/exchange"
)

// worked is what a story works out by hand for a lot: the figure that its limit
// is about, as recorded and at the worst error.
type worked struct {
	folder, lot, limit string
	recorded, worst    float64
}

// fahrenheit is a temperature that a story tells in °F.
func fahrenheit(f float64) float64 { return (f - 32) * 5 / 9 }

// The stories print their figures, with the working; testdata/cases. Shares of a
// time are in percent.
var workedByHand = []worked{
	{"at-the-limit", "A-1", "cook-core", fahrenheit(162.9), fahrenheit(160.0)},
	{"at-the-limit", "A-2", "cook-core", fahrenheit(162.8), fahrenheit(159.9)},
	{"at-the-limit", "A-4", "cook-core", fahrenheit(159.7), fahrenheit(156.8)},
	{"changed-limit", "D-1", "cook-core", 73.0, 70.8},
	{"changed-limit", "D-4", "cook-core", 77.0, 74.8},
	{"cook-then-chill", "J-1", "cook-core", fahrenheit(166.0), fahrenheit(163.1)},
	{"cook-then-chill", "J-1", "chilled", fahrenheit(40.0), fahrenheit(40.3)},
	{"cook-then-chill", "J-2", "chilled", fahrenheit(40.8), fahrenheit(41.1)},
	{"cooling-curve", "K-1", "chill-down", 100 * 110. / 120, 100 * 130. / 120},
	{"cooling-curve", "K-2", "chill-down", 100 * 50. / 120, 100 * 50. / 120},
	{"cooling-curve", "K-3", "chill-down", 100 * 140. / 120, 100 * 170. / 120},
	{"hot-end", "H-2", "cook-core", 76.0, 76.0 - (0.2 + 2.8*0.8/17.8) - 0.2},
	{"hot-end", "H-3", "hot-fill", 88.0, 88.0 - (0.2 + 2.8*12.8/17.8) - 0.2},
	{"hot-end", "H-4", "hot-fill", 87.0, 87.0 - (0.2 + 2.8*11.8/17.8) - 0.2},
	{"ice-point", "I-2", "chill", 3.0, 3.0 + (1.8 - 1.8*4.8/75.8) + 0.2},
	{"ice-point", "I-3", "chill", 3.5, 3.5 + (1.8 - 1.8*5.3/75.8) + 0.2},
	{"kettle-logs", "S-1", "six-logs", 14, 14 * math.Pow(10, -0.3)},
	{"kettle-logs", "S-2", "six-logs", 10, 10 * math.Pow(10, -0.3)},
	{"kettle-logs", "S-3", "six-logs", 8 * math.Pow(10, -0.2), 8 * math.Pow(10, -0.5)},
	{"kettle-logs", "S-4", "six-logs", 14, 14 * math.Pow(10, -0.3)},
	{"one-probe", "M-2", "frozen", -20.0, -18.3},
	{"one-probe", "M-4", "hot-holding", 60.1, 59.9},
	{"repeated-check", "R-3", "cook-core", fahrenheit(162.0), fahrenheit(159.1)},
	{"roast-table", "R-1", "slow-roast", 100 * 12. / 8, 100 * 12. / 12},
	{"roast-table", "R-2", "slow-roast", 100 * 10. / 8, 100 * 10. / 12},
	{"roast-table", "R-4", "slow-roast", 100 * 20. / 28, 100 * 20. / 56}, // at worst 138.5 °F and 134.5 °F: 133 °F for 56 min
	{"warm-fish", "W-1", "out-of-ice", 100 * 3. / 4, 100 * 3. / 4},
	{"warm-fish", "W-2", "out-of-ice", 100 * 3.5 / 4, 100 * 2.5 / 2},
	{"warm-fish", "W-4", "out-of-ice", 0, 100 * 4. / 4},
	{"warm-fish", "W-5", "out-of-ice", 0, 0},
	{"warm-store", "G-1", "store-growth", 0.6936, 0.9600},
	{"warm-store", "G-2", "store-growth", 0.7776, 1.0584},
	{"warm-store", "G-4", "store-growth", 0.5325, 0.7611},
	{"wrong-points", "W-1", "cook-core", 73.0, 73.0 - 2.0*73/76 - 0.2},
}

// TestStoriesHaveTheFiguresThatWereWorkedByHand: the verdicts alone could come
// out right by luck.
func TestStoriesHaveTheFiguresThatWereWorkedByHand(t *testing.T) {
	t.Parallel()
	byFolder := map[string][]worked{}
	for _, w := range workedByHand {
		byFolder[w.folder] = append(byFolder[w.folder], w)
	}
	for folder, list := range byFolder {
		t.Run(folder, func(t *testing.T) {
			t.Parallel()
			_, r := assessJSON(t, filepath.Join(cases, folder))
			for _, w := range list {
				a := findAssessment(t, r, w.lot, w.limit)
				if a.Measure.Recorded == nil || a.Measure.Worst == nil {
					t.Errorf("%s: %+v", w.lot, a.Measure)
					continue
				}
				// Corrected temperatures are rounded to a millionth of a degree.
				if math.Abs(*a.Measure.Recorded-w.recorded) > 2e-6 || math.Abs(*a.Measure.Worst-w.worst) > 2e-6 {
					t.Errorf("%s: recorded %v, worst %v; by hand %v, %v", w.lot, *a.Measure.Recorded, *a.Measure.Worst, w.recorded, w.worst)
				}
			}
		})
	}
}

func findAssessment(t *testing.T, r exchange.Result, lot, limit string) exchange.AssessmentResult {
	t.Helper()
	for _, d := range r.Deviations {
		for _, a := range d.Assessments {
			if a.Lot == lot && a.Limit != nil && *a.Limit == limit {
				return a
			}
		}
	}
	t.Fatalf("nothing is said of %s under %s", lot, limit)
	return exchange.AssessmentResult{}
}

// TestHarmlessErrorIsAMatterOfQuality: one probe, too high by 2.4 °F: at the
// chiller the product was colder than recorded, at the cook that is no comfort;
// and a retort that was 3 °F hotter than recorded.
func TestHarmlessErrorIsAMatterOfQuality(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		folder, lot, limit string
		noted              bool
	}{
		{"cook-then-chill", "J-1", "chilled", true},
		{"cook-then-chill", "J-1", "cook-core", false},
		{"retort-low", "L-0806", "retort", true},
		{"retort-high", "L-0806", "retort", false},
	} {
		t.Run(c.folder+" "+c.limit, func(t *testing.T) {
			t.Parallel()
			_, r := assessJSON(t, filepath.Join(cases, c.folder))
			a := findAssessment(t, r, c.lot, c.limit)
			if (a.Quality != nil && *a.Quality != "") != c.noted {
				t.Errorf("note on quality: %v, want one: %v", a.Quality, c.noted)
			}
		})
	}
}

// TestReworkedProductIsHeldAndToldOfInFull: what was held and what had gone make
// up all that was made, three generations on; the lot that only shares a bowl
// with one in doubt is no part of it.
func TestReworkedProductIsHeldAndToldOfInFull(t *testing.T) {
	t.Parallel()
	_, r := assessJSON(t, filepath.Join(cases, "rework-chain"))
	if len(r.Deviations) != 1 {
		t.Fatalf("%d deviations", len(r.Deviations))
	}
	quantity := func(q *string) string {
		if q == nil {
			return "nobody knows how much"
		}
		return *q
	}
	held, gone := map[string]string{}, map[string]string{}
	for _, h := range r.Deviations[0].Holds {
		held[h.Lot] = quantity(h.Quantity)
	}
	for _, s := range r.Deviations[0].Shipped {
		gone[s.Lot] = quantity(s.Quantity)
	}
	// The sums of the story: 500 − 100 − 50, 450 − 240, 120 − 40.
	if d := cmp.Diff(map[string]string{"L-1": "350", "L-2": "210", "L-3B": "80"}, held); d != "" {
		t.Errorf("held (-told +came out):\n%s", d)
	}
	if d := cmp.Diff(map[string]string{"L-1": "100", "L-3A": "120", "L-3B": "40"}, gone); d != "" {
		t.Errorf("shipped (-told +came out):\n%s", d)
	}
}
