package catalogue

import (
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
)

// reduction is the limit of a number of logs with the D and z of a row.
func reduction(t *testing.T, r row, logs float64) limit.Limit {
	t.Helper()
	z := r["z_C"]
	if z == "" {
		z = "10" // at the reference itself z does not matter
	}
	return built(t, "log_reduction", limit.Values{
		Temperature: map[string]unit.Temperature{"reference": temperature(t, r["temp_ref_C"]+" C")},
		Difference:  map[string]unit.Diff{"z": difference(t, z+" K")},
		Duration:    map[string]time.Duration{"d": lasting(t, r["D_min"], time.Minute).Round(time.Microsecond)},
		Number:      map[string]float64{"logs": logs},
	})
}

// notReductions are the rows of dz_values.csv without what a reduction needs.
var notReductions = map[string]string{"DZ-030": "its D is not printed"}

// TestDecimalReductions: at the reference of every published D, that time is one
// log and five times that time is five; one z colder it takes ten times as long.
func TestDecimalReductions(t *testing.T) {
	t.Parallel()
	for _, r := range table(t, "dz_values.csv") {
		_, listed := notReductions[r["id"]]
		if without := r["D_min"] == "" || r["temp_ref_C"] == ""; without != listed {
			t.Errorf("%s: without D or temperature %v, listed %v", r["id"], without, listed)
		}
		if listed {
			continue
		}
		at := temperature(t, r["temp_ref_C"]+" C").Value
		d := lasting(t, r["D_min"], time.Minute).Round(time.Microsecond)
		for _, logs := range []int{1, 5} {
			l, all := reduction(t, r, float64(logs)), time.Duration(logs)*d
			want(t, r["id"], held(t, l, at, all), limit.Met)
			want(t, r["id"]+" too short", held(t, l, at, all-us), limit.Missed)
			want(t, r["id"]+" not there", held(t, l, at-1, all), limit.Missed)
		}
		if r["z_C"] != "" {
			l, colder := reduction(t, r, 1), at-difference(t, r["z_C"]+" K").Value
			want(t, r["id"]+" a z colder", held(t, l, colder, 10*d+10*us), limit.Met)
			want(t, r["id"]+" a z colder, too short", held(t, l, colder, 10*d-10*us), limit.Missed)
		}
	}
}

// TestMilkReduction: 15 s at 71.7 C are 7.5 log of Coxiella burnetii, as the
// abstract of DZ-074 says.
func TestMilkReduction(t *testing.T) {
	t.Parallel()
	r := published(t, "dz_values.csv")["DZ-074"]
	want(t, "7.5 log", held(t, reduction(t, r, 7.5), 71_700_000, 15*time.Second), limit.Met)
	want(t, "7.6 log", held(t, reduction(t, r, 7.6), 71_700_000, 15*time.Second), limit.Missed)
}

// TestSurvivors are the exercises on F = D·(log N0 − log N), with their numbers
// from the formula column of equivalents.csv.
func TestSurvivors(t *testing.T) {
	t.Parallel()
	rows := published(t, "equivalents.csv")
	// LOGRED-094: F 2.88 min and D 1.5 min leave 0.12 of 10 spores in a can.
	reduced := map[string]struct{ d, logs float64 }{
		"LOGRED-094": {1.5, math.Log10(10 / number(t, rows["LOGRED-094"]["recomputed_value"]))},
		"LOGRED-096": {0.24, 14}, // from 100 to 1e-12
		"LOGRED-097": {1.5, 7},   // from 100 to 1e-5
	}
	for id, x := range reduced {
		r := rows[id]
		minutes := r["recomputed_value"]
		if r["t_in_min"] != "" {
			minutes = r["t_in_min"]
		}
		l := built(t, "log_reduction", limit.Values{
			Temperature: map[string]unit.Temperature{"reference": temperature(t, r["T_ref_C"]+" C")},
			Difference:  map[string]unit.Diff{"z": difference(t, r["z_C"]+" K")},
			Duration:    map[string]time.Duration{"d": time.Duration(x.d * float64(time.Minute))},
			Number:      map[string]float64{"logs": x.logs},
		})
		at, f := temperature(t, r["T_ref_C"]+" C").Value, lasting(t, minutes, time.Minute)
		slack := time.Millisecond // survivors are printed to seven digits
		want(t, id, held(t, l, at, f+slack), limit.Met)
		want(t, id+" too short", held(t, l, at, f-slack), limit.Missed)
	}
}

// TestMeatTableIsAlmostLogLinear repeats the regression behind DZ-080 and
// DZ-081: the logarithm of the dwell against the temperature, rows of 0 s left
// out. No entry uses the line; the table is looked up.
func TestMeatTableIsAlmostLogLinear(t *testing.T) {
	t.Parallel()
	rows := published(t, "dz_values.csv")
	for name, x := range map[string]struct {
		id   string
		logs float64
	}{"fsis-cook-meat-6.5-log": {"DZ-080", 6.5}, "fsis-cook-meat-7-log": {"DZ-081", 7}} {
		var at, logTime []float64
		for _, r := range find(t, name).Values.Rows["table"] {
			if r.Time > 0 {
				at = append(at, r.Temperatures[0].Value.Degrees())
				logTime = append(logTime, math.Log10(r.Time.Minutes()))
			}
		}
		a, b := stat.LinearRegression(at, logTime, nil, false)
		z, d := -1/b, math.Pow(10, a+b*150)/x.logs
		wantZ, wantD := number(t, strings.TrimSuffix(rows[x.id]["z_orig"], " F")), number(t, rows[x.id]["D_min"])
		if math.Abs(z-wantZ) > 0.005 || math.Abs(d-wantD) > 5e-5 { // printed digits
			t.Errorf("%s: z %.4f F, D(150 F) %.5f min, want %v and %v", x.id, z, d, wantZ, wantD)
		}
	}
}

// TestZFromTwoPoints: where a study prints D at two temperatures and z, the two
// agree as nearly as its own note says.
func TestZFromTwoPoints(t *testing.T) {
	t.Parallel()
	rows := published(t, "dz_values.csv")
	for _, x := range []struct {
		a, b    string
		z, near float64
	}{
		{"DZ-011", "DZ-013", 6.57, 0.005}, // note of DZ-011, two-point z; its regression gives 6.3
		{"DZ-022", "DZ-023", 4.44, 0.1},   // z_C of both; D is printed to two digits, which leaves 0.1 of z
	} {
		a, b := rows[x.a], rows[x.b]
		z := (number(t, b["temp_ref_C"]) - number(t, a["temp_ref_C"])) / math.Log10(number(t, a["D_min"])/number(t, b["D_min"]))
		if math.Abs(z-x.z) > x.near {
			t.Errorf("%s and %s: z %.3f, want %v", x.a, x.b, z, x.z)
		}
	}
}
