package catalogue

import (
	"strings"
	"testing"
	"time"

	"lastgood/policy/limit"
)

// notOffered are the published rows, by id or by the beginning of their ids,
// that no entry quotes, with why.
var notOffered = map[string]string{
	"FSISOLD-POUL-":  "the last rows of a superseded edition, which prints less than 10.0 s for 0 s; the rest agrees with Tables 3 and 4",
	"FC-ROAST-0907":  "recalled, in a chart that was seen without it; leaving it out only asks for more",
	"FCOLD-ROAST-":   "superseded in 2001; at 145 F it asks for less than the chart that followed",
	"BADCOPY-028":    "low confidence: an error of copying",
	"UK1995-033":     "the lower end of thermisation, which is meant to leave phosphatase",
	"CODEX57-038":    "low confidence",
	"ALMOND-093":     "a study's prediction, no limit",
	"ALMOND-094":     "a study's prediction, no limit",
	"PEANUT-096":     "a study's observation, no limit",
	"ACIDIFIED-":     "a draft seen second-hand: its minutes are assumed, one row is a range and two rows contradict",
	"FC-COOL-003":    "the clock starts at preparation, which no temperature shows",
	"FC-COOL-004":    "the clock starts at receipt, which no temperature shows",
	"FCOLD-COOL-006": "superseded: the clock starts at 135 F now",
	"FCOLD-HOLD-011": "obsolete in the model code, and tied to a shelf life",
	"FC-TPHC-":       "time instead of temperature: the clock starts when food leaves control",
	"FSISB99-2-019":  "advice beside a rule",
	"OSU99-022":      "low confidence: disagrees with its source",
	"FSISB21-4-":     "low confidence",
	"FSISA21-CUT-":   "a clock on the way up; no kind of limit has one",
	"FSISB-CUT-":     "low confidence, and a clock on the way up",
	"PMO-RAW-039":    "the clock starts at milking",
	"CA-RAW-":        "the clock starts at milking",
	"MA-RAW-043":     "the clock starts at milking",
	"UK1995-RAW-":    "the clock starts at acceptance",
	"EGG-LIQ-":       "the clock starts at breaking",
	"FISH-CB-":       "where growth begins, no limit",
	"GROWMIN-":       "where growth begins, no limit",
	"MEAT-RAW-065":   "a review's summary, no rule",
	"DZ-":            "what heat does to an organism, no limit; TestDecimalReductions",
	"FDA-A4-025":     "its time is shorter than its own lethal rate gives",
	"FDA-A3-":        "lethal rates at z 7.5 K; uk-chilled-listeria-p70-2 is the same process",
	"REI-":           "lethal rates; policy/lethality recomputes them",
	"ISO-":           "exercises; policy/lethality recomputes them",
	"LOGRED-":        "exercises; TestSurvivors",
	"PU-":            "pasteurisation units without a required number",
	"AU-1":           "the formula behind au-milk-htst-pairs",
	"AEM99-":         "sums of a study",
}

// TestRowsAllUsed fails when a row is neither quoted nor listed above, or both,
// and when a line above is of no use.
func TestRowsAllUsed(t *testing.T) {
	t.Parallel()
	quoted := map[string]bool{}
	for _, name := range Names() {
		for _, id := range find(t, name).Rows {
			quoted[id] = true
		}
	}
	// These give a reference or a z to entries and are listed as a whole.
	also := map[string]bool{"DZ-068": true, "DZ-073": true}
	used := map[string]bool{}
	for id := range published(t) {
		line, listed := listedAs(id)
		used[line] = true
		if listed == quoted[id] && !also[id] {
			t.Errorf("%s: quoted %v, listed as not offered %v", id, quoted[id], listed)
		}
	}
	for line := range notOffered {
		if !used[line] {
			t.Errorf("%s lists no row", line)
		}
	}
}

func listedAs(id string) (string, bool) {
	for line := range notOffered {
		if id == line || strings.HasSuffix(line, "-") && strings.HasPrefix(id, line) || line == "AU-1" && strings.HasPrefix(id, line) {
			return line, true
		}
	}
	return "", false
}

// TestRowsNotOffered: rows that no entry quotes and that a kind of limit can
// state are held to their edges all the same.
func TestRowsNotOffered(t *testing.T) {
	t.Parallel()
	tested := 0
	for id, r := range published(t, "cook_lethality.csv", "pasteurization.csv", "cold_limits.csv") {
		if _, listed := listedAs(id); !listed {
			continue
		}
		e, ok := single(t, r)
		if !ok {
			continue
		}
		tested++
		l := built(t, e.Kind.Name, e.Values)
		switch e.Kind.Name {
		case "at_least", "at_most":
			everyEdge(t, e, l)
		case "hold":
			holdEdge(t, e, l)
		case "lethality":
			lethalityEdge(t, e, l)
		case "cooling":
			coolingEdge(t, e, l)
		}
	}
	// Counted apart: 12 dwells of cook_lethality.csv (three more print less than
	// a time, with no time of its own), 6 holds and 9 lethalities of
	// pasteurization.csv, 5 stages of cooling and 2 maxima of cold_limits.csv.
	if tested != 12+6+9+5+2 {
		t.Errorf("%d rows tested", tested)
	}
}

// single is the limit that one row states by itself, in F; false where it states
// none.
func single(t *testing.T, r row) (Entry, bool) {
	t.Helper()
	e := Entry{}.With(limit.Values{})
	out := Entry{Name: r["id"], Values: e}
	kind := ""
	switch {
	case strings.HasPrefix(r["id"], "ACIDIFIED-"): // z stands in the condition: "z=10 F"
		kind = "lethality"
		e.Temperature["reference"] = temperature(t, r["temp_F"]+" F")
		e.Difference["z"] = difference(t, strings.TrimPrefix(r["condition"], "z="))
		e.Number["minutes"] = number(t, r["hold_s"]) / 60
	case r["dwell_s"] != "" && r["dwell_s"] != "0", r["hold_s"] != "":
		kind = "hold"
		e.Temperature["at_least"] = temperature(t, r["temp_F"]+" F")
		e.Duration["for"] = lasting(t, r["dwell_s"]+r["hold_s"], time.Second)
	case r["temp_from_F"] != "" && r["time_max_h"] != "" && number(t, r["temp_from_F"]) > number(t, r["temp_to_F"]):
		kind = "cooling"
		e.Rows["stages"] = []limit.Row{{Temperatures: temperatures(t, r["temp_from_F"], r["temp_to_F"]), Time: lasting(t, r["time_max_h"], time.Hour)}}
	case r["limit_kind"] == "max product temperature" && !strings.HasPrefix(r["id"], "EGG-LIQ-"):
		kind = "at_most"
		e.Temperature["temperature"] = temperature(t, r["temp_to_F"]+" F")
	default:
		return Entry{}, false
	}
	k, err := limit.Lookup(kind)
	if err != nil {
		t.Fatal(err)
	}
	out.Kind = k
	return out, true
}
