package interval_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"lastgood/policy/interval"
	"lastgood/policy/unit"
)

// row is one line of the check values.
type row struct{ section, id, method, inputs, quantity, want, note string }

// rows reads the sections on intervals; the others are about the error itself,
// which policy/metrology and policy/limit test.
func rows(t *testing.T) []row {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", "metrology", "drift_interval.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]int{}
	for i, name := range lines[0] {
		at[name] = i
	}
	var out []row
	for _, l := range lines[1:] {
		r := row{l[at["section"]], l[at["id"]], l[at["method"]], l[at["inputs"]], l[at["quantity"]], l[at["recomputed_value"]], l[at["note"]]}
		if strings.HasPrefix(r.section, "interval_") || r.section == "uncertainty_growth" {
			out = append(out, r)
		}
	}
	return out
}

// told are the rows that describe a method in words and print no figure, and
// what became of them.
var told = map[string]string{
	"DI0001": "D 10 method 1, staircase: SimpleResponse",
	"DI0002": "D 10 method 2, control chart: FitDrift",
	"DI0005": "D 10 method 5, pooling like instruments: here each stands on its own history",
	"DI0007": "RP-1 A1: SimpleResponse, ReductionFactor",
	"DI0009": "RP-1 A3: TestInterval",
	"DI0010": "RP-1 S1: ForReliability, AverageReliability",
	"DI0011": "RP-1 S2: the failure rate in Compare; S3 needs renewals that are not recorded",
	"DI0012": "RP-1 variables data: FitDrift",
}

// TestPublished tests every row on intervals or says why not.
func TestPublished(t *testing.T) {
	t.Parallel()
	figures, words := 0, 0
	for _, r := range rows(t) {
		if _, ok := told[r.id]; ok {
			words++
			if r.want != "" {
				t.Errorf("%s is listed as words and prints %s", r.id, r.want)
			}
			continue
		}
		figures++
		switch {
		case r.section == "uncertainty_growth":
			growth(t, r)
		case r.method == "A1 simple response":
			simpleResponse(t, r)
		case r.method == "S1 exponential" && strings.HasPrefix(r.inputs, "observed"):
			exponential(t, r)
		case r.method == "S1 exponential":
			average(t, r)
		case r.method == "A3 interval test":
			intervalTest(t, r)
		default:
			t.Errorf("%s: nothing tests %s", r.id, r.method)
		}
	}
	if words != len(told) || figures == 0 {
		t.Errorf("%d rows of words of %d listed, %d of figures", words, len(told), figures)
	}
}

// scan reads the numbers of a row's inputs.
func (r row) scan(t *testing.T, format string, into ...any) {
	t.Helper()
	if _, err := fmt.Sscanf(r.inputs, format, into...); err != nil {
		t.Fatalf("%s: %q: %v", r.id, r.inputs, err)
	}
}

// holds compares with one of the figures of a row, to the digits it has.
func (r row) holds(t *testing.T, got float64, field int) {
	t.Helper()
	text := strings.Split(r.want, " ; ")[field]
	want, err := strconv.ParseFloat(text, 64)
	if err != nil {
		t.Fatal(err)
	}
	_, frac, _ := strings.Cut(text, ".")
	if math.Abs(got-want) > 0.51*math.Pow(10, -float64(len(frac))) {
		t.Errorf("%s: got %.10g, the row says %s", r.id, got, text)
	}
}

func simpleResponse(t *testing.T, r row) {
	var a, reliability float64
	r.scan(t, "a=%g, target reliability %g", &a, &reliability)
	b, err := interval.ReductionFactor(a, reliability)
	if err != nil {
		t.Fatal(err)
	}
	r.holds(t, b, 0)
}

func average(t *testing.T, r row) {
	var end float64
	r.scan(t, "end-of-interval reliability %g", &end)
	mean, err := interval.AverageReliability(end)
	if err != nil {
		t.Fatal(err)
	}
	r.holds(t, mean, 0)
}

func exponential(t *testing.T, r row) {
	var observed, months, target, rate float64
	r.scan(t, "observed end-of-interval reliability %g at %g months, target %g", &observed, &months, &target)
	days, err := interval.ForReliability(months, observed, target)
	if err != nil {
		t.Fatal(err)
	}
	r.holds(t, days, 0)
	if _, err := fmt.Sscanf(r.note, "lambda=%g per month", &rate); err != nil {
		t.Fatal(err)
	}
	if got := -math.Log(target) / days; math.Abs(got-rate) > 0.51e-8 {
		t.Errorf("%s: %.8f a month, the row says %.8f", r.id, got, rate)
	}
}

func intervalTest(t *testing.T, r row) {
	var within, of int
	var target, confidence float64
	r.scan(t, "%d in tolerance of %d, target %g, two-sided confidence %g", &within, &of, &target, &confidence)
	got, err := interval.TestInterval(within, of, target, confidence)
	if err != nil {
		t.Fatal(err)
	}
	r.holds(t, got.Low, 0)
	r.holds(t, got.High, 1)
	if want := strings.Split(r.want, " ; ")[2]; string(got.Advice) != want {
		t.Errorf("%s: %s, the row says %s", r.id, got.Advice, want)
	}
}

func growth(t *testing.T, r row) {
	var e0, rate, rateU, u0, months float64
	r.scan(t, "e0=%g, rate %g per month, u(rate)=%g per month, u0=%g, t=%g", &e0, &rate, &rateU, &u0, &months)
	d := interval.Drift{Start: unit.CelsiusDiff(e0), StartU: unit.CelsiusDiff(u0), Rate: rate, RateU: rateU}
	e, u := d.At(months)
	r.holds(t, float64(e), 0)
	r.holds(t, float64(u), 1)
}
