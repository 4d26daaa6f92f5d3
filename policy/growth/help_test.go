package growth

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// table reads a file of published values as rows by column name.
func table(t *testing.T, name string) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/published/thermal/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, c := range r {
			m[rows[0][i]] = c
		}
		out = append(out, m)
	}
	if len(out) == 0 {
		t.Fatalf("%s has no rows", name)
	}
	return out
}

func number(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func model(t testing.TB, p Parameters) Model {
	t.Helper()
	m, err := New(p)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// named is the model of a row of growth_models.csv.
func named(t testing.TB, id string) Model {
	t.Helper()
	for _, p := range published {
		if p.ID == id {
			return model(t, p.Parameters)
		}
	}
	t.Fatalf("no model %s", id)
	return Model{}
}

// shapes are one model of every form, and the cardinal ones whose denominator is
// hard: nearly singular at either end, and constant.
func shapes(t testing.TB) map[string]Model {
	return map[string]Model{
		"square_root":        named(t, "GM-012"),
		"ratkowsky":          named(t, "GM-018"),
		"steep ratkowsky":    named(t, "GM-040"),
		"modified_ratkowsky": named(t, "GM-001"),
		"cardinal":           named(t, "GM-007"),
		"cardinal, sharp":    model(t, cardinal(LnPerHour, 5, 44.8, 45, 2)),
		"cardinal, flat":     model(t, cardinal(LnPerHour, 0, 30, 45, 2)), // 3 Topt = 2 Tmax + Tmin
		"cardinal, middle":   model(t, cardinal(Log10PerHour, 0, 20.01, 40, 1)),
	}
}

const hour = 3_600_000_000 // [µs]

// record is readings one step apart, on the scale of the model.
func record(m Model, step time.Duration, degrees ...float64) series.Series {
	s := series.Series{Scale: m.Scale()}
	for i, d := range degrees {
		s.Samples = append(s.Samples, series.Sample{At: 1 + int64(i)*step.Microseconds(), T: unit.FromFloat(d, unit.Hotter)})
	}
	return s
}

func grown(m Model, s series.Series) float64 {
	y, _ := m.Increase(s, 1000*time.Hour)
	return float64(y)
}

func near(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%s = %v, want %v", what, got, want)
	}
}
