package growth

import (
	"math"
	"strings"
	"testing"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// notSaid are the rows of growth_models.csv that no form of this package says.
var notSaid = map[string]string{
	"GM-019": "exponent 1 of T - Tmin",
	"GM-020": "exponent 1.5 of T - Tmin",
	"GM-024": "exponent 1.5 of T - Tmin",
	"GM-027": "gives Tmin only, no rate",
	"GM-032": "exponent 1.5 of T - Tmin",
	"GM-047": "three pieces with three equations; the stored copy and the recalled constants disagree",
}

// TestPublishedRates recomputes the check rate of every row.
func TestPublishedRates(t *testing.T) {
	t.Parallel()
	byID := map[string]Published{}
	for _, p := range published {
		byID[p.ID] = p
	}
	for _, r := range table(t, "growth_models.csv") {
		id := r["id"]
		p, offered := byID[id]
		switch {
		case notSaid[id] != "":
			if offered {
				t.Errorf("%s is listed as left out (%s) and offered", id, notSaid[id])
			}
			continue
		case id == "GM-026": // a ratio of rates, no rate
			m := model(t, squareRoot(Log10PerHour, 0.1, number(t, r["Tmin_C"])))
			near(t, id, m.Rate(at(t, r["T_check_C"]))/m.Rate(at(t, "5")), number(t, r["rate_at_T_check_recomputed"]), 2e-5)
			continue
		case id == "GM-013": // low confidence, so not offered; log10 per day turned to per hour as in GM-012
			p.Parameters = squareRoot(Log10PerHour, number(t, r["b"])/math.Sqrt(24), number(t, r["Tmin_C"]))
		case !offered:
			t.Errorf("%s is neither offered, nor tested, nor listed", id)
			continue
		}
		decades := model(t, p.Parameters).Rate(at(t, r["T_check_C"]))
		near(t, id+" in ln", decades*math.Ln10, number(t, r["mu_ln_per_h_at_T_check"]), 5e-6) // printed to six digits
		own := map[string]float64{"ln/h": math.Ln10, "log10/h": 1, "generations/h": math.Ln10 / math.Ln2}[r["rate_unit"]]
		near(t, id+" in "+r["rate_unit"], decades*own, number(t, r["rate_at_T_check_recomputed"]), 5e-6)
	}
}

// TestPublishedTable compares the facts of the table with the file's columns.
func TestPublishedTable(t *testing.T) {
	t.Parallel()
	rows := map[string]map[string]string{}
	for _, r := range table(t, "growth_models.csv") {
		rows[r["id"]] = r
	}
	seen := map[string]bool{}
	for _, p := range published {
		r := rows[p.ID]
		if seen[p.Name] || p.Organism != r["organism"] || p.Matrix != r["matrix"] || p.Provenance != r["provenance"] ||
			p.Confidence != r["confidence"] || p.Confidence == "low" || p.RateCertain != (r["rate_unit_certain"] == "yes") {
			t.Errorf("%s (%s) is not as in the file", p.Name, p.ID)
		}
		seen[p.Name] = true
		if got, ok := Lookup(p.Name); !ok || got.ID != p.ID {
			t.Errorf("%s is not found", p.Name)
		}
		lo, hi := model(t, p.Parameters).Range()
		near(t, p.ID+" Tmin", float64(lo), number(t, r["Tmin_C"]), 1e-9)
		if r["Tmax_C"] != "" {
			near(t, p.ID+" Tmax", float64(hi), number(t, r["Tmax_C"]), 1e-9)
		}
		if r["T_range_in_model_file_low_C"] != "" {
			near(t, p.ID+" fitted from", float64(p.From), number(t, r["T_range_in_model_file_low_C"]), 0)
			near(t, p.ID+" fitted to", float64(p.To), number(t, r["T_range_in_model_file_high_C"]), 0)
		}
	}
	if _, ok := Lookup("listeria"); ok || len(Names()) != len(published) {
		t.Error("a model that is not there is found, or names are missing")
	}
}

func at(t *testing.T, celsius string) unit.Micro {
	t.Helper()
	return unit.FromFloat(number(t, celsius), unit.Hotter)
}

// notComputable are the rows of growth_predictions.csv that give too little.
var notComputable = map[string]string{
	"GP-034": "the parameters are not in the visible text",
	"GP-035": "an observation",
	"GP-038": "an observation",
}

// disagree are rows whose published value is not the formula's.
var disagree = map[string]string{
	"GP-016": "the collection's own recomputation gives 0.176 for 0.249: likely a copy of another row",
	"GP-028": "printed 0.1 for 0.095, rounded to one digit",
	"GP-031": "the published number is another model's: 1.1 against 1.34",
	"GP-032": "the published number is another model's: 3.6 against 3.82",
}

// TestPublishedPredictions recomputes every row of growth_predictions.csv that
// can be, and compares it with the published value where there is one.
func TestPublishedPredictions(t *testing.T) {
	t.Parallel()
	for _, r := range table(t, "growth_predictions.csv") {
		id := r["id"]
		got, ok := predicted(t, r)
		if why := notComputable[id]; why != "" || !ok {
			if ok || why == "" {
				t.Errorf("%s: computed %v, listed as not computable: %q", id, ok, why)
			}
			continue
		}
		want := r["recomputed_value"]
		_, frac, _ := strings.Cut(want, ".")
		if half := 0.51 * math.Pow10(-len(frac)); math.Abs(got-number(t, want)) > half { // rounded to its last digit
			t.Errorf("%s = %v, recomputed value %s", id, got, want)
		}
		if p := r["published_value"]; p != "" {
			apart := math.Abs(got-number(t, p)) > 0.002 // how well the source's own rows agree
			if apart != (disagree[id] != "") {
				t.Errorf("%s: %v, published %s, listed disagreement %q", id, got, p, disagree[id])
			}
		}
	}
}

// exposed are the models that the exposure limits were checked against.
var exposed = map[string]string{
	"Mejlholm-Dalgaard 2009": "GM-025", "Xanthiakos 2006 milk": "GM-015", "Mataragas 2006 ham": "GM-012",
	"Oscar 2002 chicken CTMI": "GM-030", "Juneja 2009 beef": "GM-034",
}

func predicted(t *testing.T, r map[string]string) (float64, bool) {
	t.Helper()
	switch r["kind"] {
	case "rate conversion to 5 C": // growth_models.csv GM-026
		m := model(t, squareRoot(Log10PerHour, 0.1, -1.18))
		return number(t, r["input_log_increase"]) / number(t, r["input_duration_d"]) * m.Rate(at(t, "5")) / m.Rate(at(t, r["input_T_C"])), true
	case "cooling prediction":
		hours, ok := map[string]time.Duration{"GP-031": 90 * time.Minute, "GP-032": 3 * time.Hour}[r["id"]]
		m := named(t, "GM-001")
		return float64(WithLag(Logs(grown(m, record(m, hours, 54.4, 27))), 0.0699)), ok // its profile and lag_or_q0
	case "unit identity": // ln 100 in 10 h
		return number(t, r["input_log_increase"]) / grown(perHourLn(t, 1), flat(10)), true
	case "closed form":
		return closedForm(t, r["id"])
	case "independent check of a regulatory exposure limit":
		m := named(t, exposed[r["matrix"]])
		c := number(t, r["input_T_C"])
		if r["input_duration_d"] == "0.2917" { // seven hours, rounded
			return grown(m, record(m, 7*time.Hour, c, c)), true
		}
		if r["input_duration_d"] == "0.2083" { // five hours, rounded
			return grown(m, record(m, 5*time.Hour, c, c)), true
		}
		return grown(m, record(m, time.Duration(24*number(t, r["input_duration_d"]))*time.Hour, c, c)), true
	}
	return 0, false
}

// perHourLn is a model with the rate mu, in ln per hour, at 10 C.
func perHourLn(t *testing.T, mu float64) Model {
	return model(t, squareRoot(LnPerHour, math.Sqrt(mu)/10, 0))
}

// flat is a time at 10 C.
func flat(hours int64) series.Series {
	return series.Series{Scale: unit.CelsiusScale, Samples: []series.Sample{{At: 0, T: 10_000_000}, {At: hours * hour, T: 10_000_000}}}
}

func closedForm(t *testing.T, id string) (float64, bool) {
	t.Helper()
	lagged := func(mu, q0 float64, hours int64) float64 {
		return float64(WithLag(Logs(grown(perHourLn(t, mu), flat(hours))), q0))
	}
	switch id { // the column profile of each
	case "GP-042":
		return lagged(0.5, 0.0001, 10), true
	case "GP-044":
		return lagged(1.2, 0.0699, 2), true
	case "GP-045":
		return lagged(0.0419, 0.1, 48), true
	case "GP-047":
		m := named(t, "GM-046")
		return grown(m, record(m, 6*time.Hour, 4, 20)), true
	}
	return 0, false
}

// TestOtherReadingOfTheRate: GP-031 and GP-032 say what their rate read as ln
// gives (column note). Read as log10 the same number predicts more.
func TestOtherReadingOfTheRate(t *testing.T) {
	t.Parallel()
	p, _ := Lookup("c-perfringens-uncured-beef")
	p.Parameters.Rate = LnPerHour
	m := model(t, p.Parameters)
	for hours, want := range map[time.Duration]float64{90 * time.Minute: 0.2386, 3 * time.Hour: 1.0283} {
		got := float64(WithLag(Logs(grown(m, record(m, hours, 54.4, 27))), 0.0699))
		near(t, hours.String(), got, want, 3e-4)
	}
}

// TestLagTimes: at a constant rate the lag is ln(1 + 1/q₀)/μ, and what has grown
// long after it is less by just that time's growth (growth_predictions.csv
// GP-042, column recompute_model: 18.420881 h).
func TestLagTimes(t *testing.T) {
	t.Parallel()
	mu, q0 := 0.5, 0.0001
	whole := Logs(mu * 200 / math.Ln10)
	near(t, "lag", float64(whole-WithLag(whole, q0))*math.Ln10/mu, 18.420881, 1e-6)
	if y := WithLag(1e6, q0); math.IsInf(float64(y), 0) || math.IsNaN(float64(y)) {
		t.Errorf("a long time gives %v", y)
	}
	near(t, "nothing", float64(WithLag(0, q0))+1, 1, 1e-12)
}
