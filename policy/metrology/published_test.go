package metrology_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// published reads the check values of one file, one map for each row.
func published(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", "published", "metrology", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]map[string]string, 0, len(rows)-1)
	for _, r := range rows[1:] {
		m := make(map[string]string, len(r))
		for i, v := range r {
			m[rows[0][i]] = v
		}
		out = append(out, m)
	}
	return out
}

// section keeps the rows of one section and fails if there are none.
func section(t *testing.T, rows []map[string]string, name string) []map[string]string {
	t.Helper()
	var out []map[string]string
	for _, r := range rows {
		if r["section"] == name {
			out = append(out, r)
		}
	}
	if len(out) == 0 {
		t.Fatalf("no rows in section %s", name)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.TrimPrefix(s, "+"), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// half is half of the last printed place of a decimal number.
func half(s string) float64 {
	_, frac, _ := strings.Cut(s, ".")
	return 0.5 * math.Pow(10, -float64(len(frac)))
}

const (
	footMetres = 0.3048      // exact, by definition
	radius     = 6356766.0   // m, U.S. Standard Atmosphere 1976
	psiKPa     = 6.894757293 // from memory; 1 lbf/in²
)

// geometric is the altitude whose geopotential is h [m]. The rows that were
// computed independently put the altitude in as geopotential, which moves the
// boiling point by 0.0005 K at 1000 m and 0.006 K at 3500 m.
func geometric(h float64) float64 { return radius * h / (radius - h) }

// metres is the altitude of a row.
func metres(t *testing.T, r map[string]string) float64 {
	t.Helper()
	v := number(t, r["input_value"])
	if r["input_unit"] == "ft" {
		return v * footMetres
	}
	return v
}

// boils is where water boils at an altitude by the standard atmosphere [°C].
func boils(t *testing.T, altitudeM float64) float64 {
	t.Helper()
	ref, err := metrology.BoilingPoint(unit.CelsiusScale, nil, altitudeM, nil)
	if err != nil {
		t.Fatal(err)
	}
	return ref.True.Degrees()
}

func TestIF97VerificationValues(t *testing.T) {
	t.Parallel()
	for _, r := range section(t, published(t, "boiling_point.csv"), "if97_verification") {
		want, in := number(t, r["published_value"]), number(t, r["input_value"])
		var got float64
		if r["input_quantity"] == "pressure" {
			c, err := metrology.SaturationTemperature(in * 1000)
			if err != nil {
				t.Fatal(err)
			}
			got = float64(c) + 273.15
		} else {
			kPa, err := metrology.SaturationPressure(unit.Celsius(in - 273.15))
			if err != nil {
				t.Fatal(err)
			}
			got = kPa / 1000
		}
		if math.Abs(got/want-1) > 5e-9 { // nine significant figures, as the release prints them
			t.Errorf("%s: got %.10g, %s prints %s", r["id"], got, r["source"], r["published_value"])
		}
	}
}

func TestSaturationGrid(t *testing.T) {
	t.Parallel()
	rows := published(t, "boiling_point.csv")
	for _, r := range section(t, rows, "saturation_grid") {
		c, err := metrology.SaturationTemperature(number(t, r["input_value"]))
		if err != nil {
			t.Fatal(err)
		}
		if want := number(t, r["computed_value"]); math.Abs(float64(c)-want) > half(r["computed_value"])*1.001 {
			t.Errorf("%s: %s kPa boils at %.6f, computed independently %g", r["id"], r["input_value"], float64(c), want)
		}
	}
	for _, r := range section(t, rows, "saturation_grid_slope") {
		// The slope shows in the uncertainty of a measured pressure: 0.1 kPa of it
		// is the first part of the budget.
		p := number(t, r["input_value"])
		ref, err := metrology.BoilingPoint(unit.KelvinScale, &p, 0, nil)
		if err != nil {
			t.Fatal(err)
		}
		if got, want := float64(ref.Budget[0].U)/0.1, number(t, r["computed_value"]); math.Abs(got-want) > 1e-5 {
			t.Errorf("%s: slope %.6f K/kPa, computed independently %g", r["id"], got, want)
		}
	}
}

func TestStandardAtmosphere(t *testing.T) {
	t.Parallel()
	rows := published(t, "boiling_point.csv")
	for _, r := range section(t, rows, "standard_atmosphere_geopotential") {
		h := number(t, r["input_value"])
		kPa, err := metrology.StandardPressure(geometric(h))
		if err != nil {
			t.Fatal(err)
		}
		got, tolerance := kPa*1000, 0.01 // "within 0.01 Pa", the row's own statement
		if r["output_unit"] == "hPa" {
			got, tolerance = kPa*10, half(r["published_value"])
		}
		if want := number(t, r["published_value"]); math.Abs(got-want) > tolerance {
			t.Errorf("%s: %.4f %s, published %s", r["id"], got, r["output_unit"], r["published_value"])
		}
	}
	for _, r := range section(t, rows, "standard_atmosphere_geometric") {
		kPa, err := metrology.StandardPressure(metres(t, r))
		if err != nil {
			t.Fatal(err)
		}
		if want := number(t, r["published_value"]); math.Abs(kPa*1000-want) > half(r["published_value"]) {
			t.Errorf("%s: %.3f Pa, published %s", r["id"], kPa*1000, r["published_value"])
		}
	}
	for _, r := range section(t, rows, "standard_atmosphere_feet_table") {
		// The table prints three decimals of which the last is not good (its note):
		// 0.011 psi is the largest of its differences.
		kPa, err := metrology.StandardPressure(metres(t, r))
		if err != nil {
			t.Fatal(err)
		}
		if want := number(t, r["published_value"]); math.Abs(kPa/psiKPa-want) > 0.011 {
			t.Errorf("%s: %.4f psi, published %s", r["id"], kPa/psiKPa, r["published_value"])
		}
	}
}

// disagreeing are the rows of published altitude tables that IF97 over the
// standard atmosphere contradicts, and why the computation is believed.
func disagreeing() map[string]string {
	why := map[string]string{
		"isothermal atmosphere at 20 °C: too warm at height": "BP0189 BP0190 BP0191 BP0192 BP0193 BP0195 BP0196 BP0197 BP0198",
		"two decimals printed, errors up to several tenths":  "BP0200 BP0201 BP0203 BP0204 BP0205 BP0206 BP0208 BP0209",
		"cookbook chart, a rule of thumb run out to 14,000 ft": "BP0212 BP0213 BP0214 BP0215 BP0216 BP0217 BP0218 BP0219 " +
			"BP0220 BP0222 BP0224 BP0225 BP0228 BP0230 BP0235",
		"linear, about 1.83 °F per 1000 ft throughout": "BP0237 BP0238 BP0239 BP0241 BP0242 BP0243 BP0244 BP0245 BP0246",
	}
	out := map[string]string{}
	for reason, ids := range why {
		for id := range strings.FieldsSeq(ids) {
			out[id] = reason
		}
	}
	return out
}

func TestPublishedAltitudeTables(t *testing.T) {
	t.Parallel()
	wrong := disagreeing()
	for _, r := range section(t, published(t, "boiling_point.csv"), "published_altitude_boiling_table") {
		got := boils(t, metres(t, r))
		if r["output_unit"] == "degF" {
			got = got*9/5 + 32
		}
		agrees := math.Abs(got-number(t, r["published_value"])) <= half(r["published_value"])
		reason, listed := wrong[r["id"]]
		if agrees == listed {
			t.Errorf("%s: computed %.3f %s, published %s; listed as disagreeing: %v %s",
				r["id"], got, r["output_unit"], r["published_value"], listed, reason)
		}
	}
}

func TestAltitudeToBoiling(t *testing.T) {
	t.Parallel()
	for _, r := range section(t, published(t, "boiling_point.csv"), "altitude_to_boiling_computed") {
		if got, want := boils(t, geometric(metres(t, r))), number(t, r["computed_value"]); math.Abs(got-want) > 6e-5 {
			t.Errorf("%s: %s %s boils at %.5f, computed independently %g", r["id"], r["input_value"], r["input_unit"], got, want)
		}
	}
}

func TestTrapsOfTheBoilingPoint(t *testing.T) {
	t.Parallel()
	for _, r := range section(t, published(t, "boiling_point.csv"), "trap_computed") {
		in, want := number(t, r["input_value"]), number(t, r["computed_value"])
		var got, tolerance float64
		switch q := r["input_quantity"]; {
		case q == "pressure" || strings.HasPrefix(q, "station pressure"):
			c, err := metrology.SaturationTemperature(in)
			if err != nil {
				t.Fatal(err)
			}
			got, tolerance = float64(c), 6e-5
		case strings.HasPrefix(q, "site altitude"):
			got, tolerance = boils(t, 0)-boils(t, geometric(in)), 6e-5
		case strings.HasPrefix(q, "altitude only"):
			// The row is half the spread between both ends; the budget takes the
			// slope in the middle, flat on that half-width.
			ref, err := metrology.BoilingPoint(unit.CelsiusScale, nil, in, nil)
			if err != nil {
				t.Fatal(err)
			}
			got, tolerance = float64(ref.Budget[0].U)*math.Sqrt(3), 0.001
		default: // immersion depth
			got, tolerance = underWater(t, in), 6e-5
		}
		if math.Abs(got-want) > tolerance {
			t.Errorf("%s %s: got %.5f, computed independently %g", r["id"], r["input_quantity"], got, want)
		}
	}
}

// underWater is how much higher than at the surface water boils under a head of
// it: 958.35 kg/m³ at 100 °C (boiling_point.csv BP0274, note), standard gravity.
func underWater(t *testing.T, metres float64) float64 {
	t.Helper()
	c, err := metrology.SaturationTemperature(101.325 + 958.35*9.80665*metres/1000)
	if err != nil {
		t.Fatal(err)
	}
	return float64(c) - boils(t, 0)
}

func TestBudgetHoldsTheHeadOfWater(t *testing.T) {
	t.Parallel()
	ref, err := metrology.BoilingPoint(unit.CelsiusScale, nil, 0, nil)
	if err != nil {
		t.Fatal(err)
	}
	// Flat on all of 5 cm of water, boiling_point.csv BP0275.
	if got, want := float64(ref.Budget[1].U)*math.Sqrt(3), underWater(t, 0.05); math.Abs(got-want) > 6e-5 {
		t.Errorf("half-width %.5f K, 5 cm of water are %.5f K", got, want)
	}
}

// offTheMark are the rules of thumb that the computation contradicts by more than
// a tenth, or more than they claim.
var offTheMark = map[string]string{
	"BP0267": "0.28 K is the slope per kPa, not per 100 m",
	"BP0269": "10 % too much per inch of mercury",
	"BP0271": "a quadratic fit, 0.1 K too low at 4115 m",
	"BP0272": "a quadratic fit, run out to 6325 m, 0.5 K too high",
}

func TestRulesOfThumbNearSeaLevel(t *testing.T) {
	t.Parallel()
	const inchOfMercury = 3.386389 // kPa, by definition
	perFoot := (boils(t, 0) - boils(t, geometric(1000*footMetres))) * 9 / 5 / 1000
	for _, r := range section(t, published(t, "boiling_point.csv"), "rule_of_thumb") {
		var got float64
		slack := half(r["published_value"]) // a fit claims the tenth that it prints
		within := half(r["computed_value"]) * 1.02
		switch q := r["output_quantity"]; {
		case strings.HasPrefix(q, "feet per"): // a rule of thumb, good to a tenth of itself
			got, slack, within = 1/perFoot, 0.1/perFoot, 0.01
		case strings.HasPrefix(q, "drop per 100 m"):
			got, slack = boils(t, 0)-boils(t, geometric(100)), 0.03
		case strings.HasPrefix(q, "degF per inch"):
			ref, err := metrology.BoilingPoint(unit.CelsiusScale, ptr(101.325), 0, nil)
			if err != nil {
				t.Fatal(err)
			}
			got = float64(ref.Budget[0].U) / 0.1 * inchOfMercury * 9 / 5 // the slope, as in TestSaturationGrid
		default:
			got = boils(t, geometric(metres(t, r)))
		}
		if want := number(t, r["computed_value"]); math.Abs(got-want) > within {
			t.Errorf("%s: %.5f, computed independently %g", r["id"], got, want)
		}
		reason, listed := offTheMark[r["id"]]
		if agrees := math.Abs(got-number(t, r["published_value"])) <= slack; agrees == listed {
			t.Errorf("%s: %.4f, published %s; listed as disagreeing: %v %s", r["id"], got, r["published_value"], listed, reason)
		}
	}
}

func TestCommonPracticeOfBoilingWater(t *testing.T) {
	t.Parallel()
	perFoot := (boils(t, 0) - boils(t, geometric(1000*footMetres))) * 9 / 5 / 1000
	if drop := perFoot * 500; math.Abs(drop-1) > 0.1 { // common practice: about 1 °F lower per 500 ft
		t.Errorf("500 ft lower the boiling point by %.2f °F", drop)
	}
	if got := boils(t, 4000*footMetres)*9/5 + 32; math.Round(got) != 205 { // common practice: about 205 °F at 4,000 ft
		t.Errorf("boils at %.1f °F at 4,000 ft", got)
	}
	if got := boils(t, 0); math.Round(got) != 100 { // common practice: 100 °C at sea level
		t.Errorf("boils at %.1f °C at sea level", got)
	}
}

// accounted fails for a row of a file whose section no test takes and no reason
// excuses. A section's test takes every row of it.
func accounted(t *testing.T, name string, tested string, excused map[string]string) {
	t.Helper()
	sections := strings.Fields(tested)
	seen := map[string]bool{}
	for _, r := range published(t, name) {
		s := r["section"]
		seen[s] = true
		if _, ok := excused[s]; !ok && !slices.Contains(sections, s) {
			t.Errorf("%s, section %s: neither tested nor excused", r["id"], s)
		}
	}
	for _, s := range sections {
		if !seen[s] {
			t.Errorf("%s has no section %s", name, s)
		}
	}
	for s := range excused {
		if !seen[s] {
			t.Errorf("%s has no section %s to excuse", name, s)
		}
	}
}

func TestEveryRowOfBoilingPoint(t *testing.T) {
	t.Parallel()
	accounted(t, "boiling_point.csv", `if97_verification saturation_grid saturation_grid_slope
		standard_atmosphere_geopotential standard_atmosphere_geometric standard_atmosphere_feet_table
		altitude_to_boiling_computed published_altitude_boiling_table rule_of_thumb trap_computed`, nil)
}
