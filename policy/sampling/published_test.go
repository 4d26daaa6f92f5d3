package sampling_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"lastgood/policy/sampling"
)

// row is one line of a file of check values.
type row map[string]string

// published reads a file of check values.
func published(t *testing.T, name string) []row {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", "metrology", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []row
	for _, l := range lines[1:] {
		r := row{}
		for i, v := range l {
			r[lines[0][i]] = v
		}
		out = append(out, r)
	}
	return out
}

func (r row) number(t *testing.T, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("%s: %s %q is no number", r["id"], column, r[column])
	}
	return v
}

func (r row) whole(t *testing.T, column string) int {
	t.Helper()
	v, err := strconv.Atoi(r[column])
	if err != nil {
		t.Fatalf("%s: %s %q is no whole number", r["id"], column, r[column])
	}
	return v
}

// plan is the plan of a row.
func (r row) plan(t *testing.T) sampling.Plan {
	t.Helper()
	classes := 2
	if r["class"] == "3-class" {
		classes = 3
	}
	return sampling.Plan{N: r.whole(t, "n"), C: r.whole(t, "c"), Classes: classes}
}

// passes is the operating characteristic of the row's plan at a share [1].
func (r row) passes(t *testing.T, defective float64) float64 {
	t.Helper()
	pa, err := r.plan(t).Passes(sampling.Rates{Defective: defective})
	if err != nil {
		t.Fatalf("%s: %v", r["id"], err)
	}
	return pa
}

// prints is how many decimals a figure is printed with.
func prints(s string) int {
	_, frac, _ := strings.Cut(s, ".")
	return len(frac)
}

// agrees reports whether got rounds to what a source prints.
func agrees(got float64, printed string) bool {
	want, err := strconv.ParseFloat(printed, 64)
	return err == nil && math.Abs(got-want) <= 0.5000001*math.Pow(10, -float64(prints(printed)))
}

// recomputed fails if got is not what an independent library gave, to the digits
// that it was written down with.
func (r row) recomputed(t *testing.T, got float64) {
	t.Helper()
	want := r.number(t, "recomputed_value")
	if tolerance := max(1e-9*math.Abs(want), 0.51*math.Pow(10, -float64(prints(r["recomputed_value"])))); math.Abs(got-want) > tolerance {
		t.Errorf("%s: got %.12g, %s gives %s", r["id"], got, r["recomputed_by"], r["recomputed_value"])
	}
}

// disagreeing are the rows whose printed figure the computation contradicts, and
// why the computation is believed.
var disagreeing = map[string]string{
	"SP0023": "FAO paper 444 prints 30.0 % for n 60 at 2 %; 0.98^60 is 29.755 %",
	"SP0037": "FAO paper 444 asks for 3000 to 5000 units at 1 % and 99 %; 459 do, and the range fits 0.1 %",
	"SP0254": "ISPM 31 edition prints 56 for N 100, D 2, 80 %: with 55 the chance of finding none is exactly 0.2, and exactly equal is enough here",
	"SP0129": "nominal: \"about 95 % of lots at 6.5 % defective pass\"; 96.276 %",
	"SP0141": "nominal: \"about 95 % of lots at 6.5 % defective pass\"; 96.267 %",
	"SP0041": "published as \"less than 15 %\"; 9.56 % is less",
	"SP0059": "the textbook prints 0.1 for n 100 at 10 %: 0.9^100 is 0.0027 %; nothing smaller than 0.1 is printed",
}

// compare holds a computed figure against a row's printed and recomputed ones.
func (r row) compare(t *testing.T, got float64) {
	t.Helper()
	if r["recomputed_value"] != "" {
		r.recomputed(t, got)
	}
	if r["published_value"] == "" {
		return
	}
	printed := r["published_value"]
	if r["note"] == "the trailing .0 is not significant" {
		printed = strings.TrimSuffix(printed, ".0")
	}
	reason, listed := disagreeing[r["id"]]
	if agrees(got, printed) == listed {
		t.Errorf("%s: got %.6g, published %s; listed as disagreeing: %v %s", r["id"], got, r["published_value"], listed, reason)
	}
}

// sections says how the rows of each section are tested.
var sections = map[string]func(*testing.T, row){
	"icmsf_cases":                namedPlan,
	"eu_2073_plan":               namedPlan,
	"aql_6_5_plan":               namedPlan,
	"fda_salmonella_plan":        composites,
	"oc_published":               characteristic,
	"fda_salmonella_plan_oc":     characteristic,
	"eu_2073_oc":                 characteristic,
	"aql_6_5_oc":                 characteristic,
	"container_condition_plan":   characteristic,
	"iso2859_plan":               characteristic,
	"c0_grid_computed":           characteristic,
	"c_grid_computed":            characteristic,
	"oc_points_computed":         inverse,
	"hypergeometric_computed":    smallLot,
	"three_class_computed":       threeClasses,
	"zero_found_upper_limit":     upperLimit,
	"detection_claim":            detection,
	"n_needed_computed":          detection,
	"hypergeometric_sample_size": detectionInLot,
}

// TestSamplingPlans tests every row of the file.
func TestSamplingPlans(t *testing.T) {
	t.Parallel()
	listed := len(disagreeing)
	for _, r := range published(t, "sampling_plans.csv") {
		test, ok := sections[r["section"]]
		if !ok {
			t.Errorf("%s: nothing tests the section %s", r["id"], r["section"])
			continue
		}
		if _, ok := disagreeing[r["id"]]; ok {
			listed--
		}
		test(t, r)
	}
	if listed != 0 {
		t.Errorf("%d listed rows are not in the file", listed)
	}
}

func characteristic(t *testing.T, r row) {
	scale := 1.0
	if r["unit"] == "%" {
		scale = 100
	}
	switch q := r["quantity"]; {
	case q == "defect rate accepted with probability 10 %":
		r.compare(t, 100*r.proves(t, 0.9))
	case strings.HasPrefix(q, "probability of detection") && r["defect_percent"] == "":
		r.compare(t, 100*(1-r.passes(t, contaminated(t, r))))
	case q == "probability of detection":
		r.compare(t, scale*(1-r.passes(t, r.number(t, "defect_percent")/100)))
	case strings.HasPrefix(q, "probability of acceptance"):
		r.compare(t, scale*r.passes(t, r.number(t, "defect_percent")/100))
	default:
		t.Errorf("%s: nothing tests the quantity %s", r["id"], q)
	}
}

// contaminated is the share of 25 g samples that hold a cell, for the two rows
// that give cells: a Poisson count in 25 g.
func contaminated(t *testing.T, r row) float64 {
	t.Helper()
	const sample = 0.025 // kg
	switch r["id"] {
	case "SP0039": // FAO paper 444 Table 3.1: 1 cell/kg, homogeneous
		return -math.Expm1(-1 * sample)
	case "SP0041": // FAO paper 444 Table 3.1: 10⁴ cells/kg in 1 % of the batch
		return -0.01 * math.Expm1(-1e4*sample)
	}
	t.Fatalf("%s: no share of defective units", r["id"])
	return 0
}

// proves is the upper bound of the row's plan at a confidence.
func (r row) proves(t *testing.T, confidence float64) float64 {
	t.Helper()
	p, err := sampling.Proves(r.whole(t, "n"), r.whole(t, "c"), confidence)
	if err != nil {
		t.Fatalf("%s: %v", r["id"], err)
	}
	return p
}

// inverse: the share that passes with probability Pa is what n and c prove at
// the confidence 1 − Pa.
func inverse(t *testing.T, r row) {
	r.compare(t, 100*r.proves(t, 1-r.number(t, "confidence_percent")/100))
}

func upperLimit(t *testing.T, r row) {
	r.compare(t, 100*r.proves(t, r.number(t, "confidence_percent")/100))
}

func smallLot(t *testing.T, r row) {
	var defective int
	if _, err := fmt.Sscanf(r["quantity"], "probability of acceptance, %d defective in lot", &defective); err != nil {
		t.Fatal(err)
	}
	pa, err := r.plan(t).PassesLot(sampling.Counts{Lot: r.whole(t, "lot_size"), Defective: defective})
	if err != nil {
		t.Fatalf("%s: %v", r["id"], err)
	}
	got, _ := pa.Float64()
	r.compare(t, got)
	var large float64
	if _, err := fmt.Sscanf(r["note"], "binomial with the same rate gives %g", &large); err != nil {
		t.Fatal(err)
	}
	if got := r.passes(t, float64(defective)/r.number(t, "lot_size")); math.Abs(got-large) > 1e-9 {
		t.Errorf("%s: binomial %.10f, the row's note says %.10f", r["id"], got, large)
	}
}

func threeClasses(t *testing.T, r row) {
	var between, above float64
	if _, err := fmt.Sscanf(r["m"], "rate between m and M = %g %%", &between); err != nil {
		t.Fatal(err)
	}
	if _, err := fmt.Sscanf(r["M"], "rate above M = %g %%", &above); err != nil {
		t.Fatal(err)
	}
	pa, err := r.plan(t).Passes(sampling.Rates{Marginal: between / 100, Defective: above / 100})
	if err != nil {
		t.Fatalf("%s: %v", r["id"], err)
	}
	r.compare(t, pa)
}

func detection(t *testing.T, r row) {
	n, err := sampling.SampleSize(r.number(t, "defect_percent")/100, r.number(t, "confidence_percent")/100)
	if err != nil {
		t.Fatalf("%s: %v", r["id"], err)
	}
	r.compare(t, float64(n))
}

func detectionInLot(t *testing.T, r row) {
	lot := r.whole(t, "lot_size")
	// "defectives in lot taken as floor(N*level)", the row's own note.
	defective := int(math.Floor(float64(lot)*r.number(t, "defect_percent")/100 + 1e-9))
	n, err := sampling.SampleSizeLot(lot, defective, r.number(t, "confidence_percent")/100)
	if err != nil {
		t.Fatalf("%s: %v", r["id"], err)
	}
	r.compare(t, float64(n))
}

// composites: samples of 25 g in composites of 375 g, and the plan itself.
func composites(t *testing.T, r row) {
	p, ok := sampling.ByID("fda-salmonella-" + strings.ToLower(strings.TrimPrefix(r["plan_or_case"], "food category ")))
	if !ok || p.N != r.whole(t, "n") || p.C != r.whole(t, "c") || p.FromMemory {
		t.Errorf("%s: the named plan is %+v", r["id"], p)
	}
	r.compare(t, math.Ceil(float64(p.N)*25/375))
}
