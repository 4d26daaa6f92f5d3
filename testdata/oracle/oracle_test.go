// Package oracle_test holds what is computed here against values recorded from
// independent libraries: testdata/golden/oracle_*.csv, which the scripts beside
// this file print and ./check reruns. The first line of each says with what.
package oracle_test

import (
	"bufio"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"

	"lastgood/policy/metrology"
	"lastgood/policy/sampling"
	"lastgood/policy/unit"
)

// row is one recorded value.
type row map[string]string

// recorded reads a golden file and fails if it does not say what made it.
func recorded(t *testing.T, name string) []row {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "golden", "oracle_"+name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	in := bufio.NewReader(f)
	made, err := in.ReadString('\n')
	if err != nil || !strings.HasPrefix(made, "# ") || !strings.Contains(made, "python ") {
		t.Fatalf("the first line does not say what made it: %q, %v", made, err)
	}
	lines, err := csv.NewReader(in).ReadAll()
	if err != nil || len(lines) < 2 {
		t.Fatalf("%d lines, %v", len(lines), err)
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
		t.Fatalf("%v: %v", r, err)
	}
	return v
}

func (r row) whole(t *testing.T, column string) int {
	t.Helper()
	return int(r.number(t, column))
}

// nineDigits is half of the last digit that the scripts print, relative.
const nineDigits = 5.1e-9

// agrees fails unless got is the recorded value within a share of it or, where
// that is larger, an absolute difference.
func (r row) agrees(t *testing.T, got, share, absolute float64) {
	t.Helper()
	if want := r.number(t, "value"); math.Abs(got-want) > max(share*math.Abs(want), absolute) {
		t.Errorf("%v: got %.12g", r, got)
	}
}

func TestSaturation(t *testing.T) {
	t.Parallel()
	for _, r := range recorded(t, "saturation") {
		at := r.number(t, "at")
		switch r["quantity"] {
		case "saturation_temperature_c":
			c, err := metrology.SaturationTemperature(at)
			if err != nil {
				t.Fatal(err)
			}
			r.agrees(t, float64(c), nineDigits, 1e-9)
		case "saturation_pressure_kpa":
			kPa, err := metrology.SaturationPressure(unit.Celsius(at))
			if err != nil {
				t.Fatal(err)
			}
			r.agrees(t, kPa, nineDigits, 0)
		default:
			t.Errorf("nothing tests %s", r["quantity"])
		}
	}
}

// TestDistribution: the library under the proofs, the failure rates and the
// coverage factors. Its quantile of t is good to 3·10⁻⁹ and no better.
func TestDistribution(t *testing.T) {
	t.Parallel()
	for _, r := range recorded(t, "distribution") {
		at := r.number(t, "at")
		switch r["quantity"] {
		case "normal_cdf":
			r.agrees(t, distuv.UnitNormal.CDF(at), nineDigits, 0)
		case "normal_quantile":
			r.agrees(t, distuv.UnitNormal.Quantile(at), nineDigits, 1e-15)
		case "t_quantile":
			r.agrees(t, distuv.StudentsT{Mu: 0, Sigma: 1, Nu: r.number(t, "a")}.Quantile(at), 2*nineDigits, 1e-8)
		case "chi2_quantile":
			r.agrees(t, distuv.ChiSquared{K: r.number(t, "a")}.Quantile(at), nineDigits, 0)
		case "beta_quantile":
			r.agrees(t, distuv.Beta{Alpha: r.number(t, "a"), Beta: r.number(t, "b")}.Quantile(at), nineDigits, 0)
		default:
			t.Errorf("nothing tests %s", r["quantity"])
		}
	}
}

func TestSampling(t *testing.T) {
	t.Parallel()
	for _, r := range recorded(t, "sampling") {
		got, err := plan(t, r)
		if err != nil {
			t.Errorf("%v: %v", r, err)
			continue
		}
		r.agrees(t, got, nineDigits, 0)
	}
}

// plan computes a row about a sampling plan.
func plan(t *testing.T, r row) (float64, error) {
	t.Helper()
	at := r.number(t, "at")
	if r["quantity"] == "size_lot" {
		n, err := sampling.SampleSizeLot(r.whole(t, "lot"), r.whole(t, "second"), at)
		return float64(n), err
	}
	p := sampling.Plan{N: r.whole(t, "n"), C: r.whole(t, "c"), Classes: 2}
	switch r["quantity"] {
	case "passes":
		return p.Passes(sampling.Rates{Defective: at})
	case "passes_three":
		p.Classes = 3
		return p.Passes(sampling.Rates{Marginal: at, Defective: r.number(t, "second")})
	case "passes_lot":
		pa, err := p.PassesLot(sampling.Counts{Lot: r.whole(t, "lot"), Defective: int(at)})
		if err != nil {
			return 0, err
		}
		v, _ := pa.Float64()
		return v, nil
	case "proves":
		return sampling.Proves(p.N, p.C, at)
	case "proves_lot":
		units, err := sampling.ProvesLot(p.N, p.C, r.whole(t, "lot"), at)
		return float64(units), err
	}
	t.Fatalf("nothing tests %s", r["quantity"])
	return 0, nil
}

// TestRisk: the library's quadrature over the library's normal against a
// bivariate normal. The recorded values are rounded to nine decimals.
func TestRisk(t *testing.T) {
	t.Parallel()
	for _, r := range recorded(t, "risk") {
		u0, um := r.number(t, "u0"), r.number(t, "um")
		tolerance, accept := r.number(t, "tolerance"), r.number(t, "accept")
		accepted := func(e float64) float64 { // density of the error, times being accepted
			return distuv.Normal{Mu: 0, Sigma: u0}.Prob(e) *
				(distuv.UnitNormal.CDF((accept-e)/um) - distuv.UnitNormal.CDF((-accept-e)/um))
		}
		rejected := func(e float64) float64 { return distuv.Normal{Mu: 0, Sigma: u0}.Prob(e) - accepted(e) }
		switch r["quantity"] { // both are symmetrical about an error of 0
		case "consumer":
			r.agrees(t, 2*quad.Fixed(accepted, tolerance, tolerance+10*u0, 400, nil, 0), 0, 2e-9)
		case "producer":
			r.agrees(t, 2*quad.Fixed(rejected, 0, tolerance, 400, nil, 0), 0, 2e-9)
		default:
			t.Errorf("nothing tests %s", r["quantity"])
		}
	}
}
