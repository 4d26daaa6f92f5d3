package catalogue

import (
	"strings"
	"testing"
)

// disagreements are pairs of published rows that ought to say the same of the
// column and do not, with what the catalogue does about it. A pair that comes to
// agree fails the test: then the choice has to be made again.
var disagreements = []struct{ a, b, column, choice string }{
	{"BADCOPY-028", "PMO-007", "temp_F", "221 F for 0.01 s is an error of copying: 212 F is offered"},
	{"FCOLD-ROAST-0916", "FC-ROAST-0900", "dwell_s", "145 F: the chart of 2001 on is offered"},
	{"FCOLD-ROAST-0916", "FSIS99-BEEF-0094", "dwell_s", "145 F, 7 log: 3 min in one edition, 4 min in the other"},
	{"FC-COOK-0918", "FC-COOK-0922", "dwell_s", "155 F: both editions are offered, by year"},
	{"FC-COOK-0923", "FC-COOK-0924", "dwell_s", "165 F: both editions are offered, by year"},
	{"CFR318.23-0885", "FSIS21-5LOG-0147", "dwell_s", "152 F patties: both are offered, the first from memory"},
	{"CFR318.23-0887", "FSIS21-5LOG-0149", "dwell_s", "154 F patties: the same"},
	{"CFR318.23-0888", "FSIS21-5LOG-0150", "dwell_s", "155 F patties: the same"},
	{"CFR318.23-0889", "FSIS21-5LOG-0151", "dwell_s", "156 F patties: the same"},
	{"CFR318.23-0890", "FSIS21-5LOG-0152", "dwell_s", "157 F patties: the same"},
	{"MI-RICH-010", "PMO-003", "temp_F", "the state raises every row: both are offered"},
	{"EUFMD-034", "EU853-031", "temp_C", "UHT for two purposes: both are offered"},
	{"UK1995-032", "EU853-029", "temp_C", "HTST of two texts: both are offered, by year"},
	{"OSU99-022", "FSISB99-3-021", "temp_to_F", "the end of slow cooling: 45 F of the guideline is offered"},
	{"FCOLD-COOL-006", "FC-COOL-001", "temp_from_F", "the start of cooling: 135 F is offered"},
	{"PARASITE-061", "PARASITE-064", "time_min_h", "-20 C: 7 days and 24 h are both offered, by issuer"},
	{"MA-RAW-043", "PMO-RAW-039", "temp_to_F", "neither is offered"},
	{"GROWMIN-072", "GROWMIN-080", "temp_to_C", "C. perfringens: no growth minimum is offered"},
	{"GROWMIN-066", "GROWMIN-073", "temp_to_C", "Salmonella: no growth minimum is offered"},
	{"DZ-069", "DZ-070", "z_C", "P90 counts nothing below 90 C"},
}

func TestDisagreements(t *testing.T) {
	t.Parallel()
	rows := published(t)
	for _, d := range disagreements {
		a, b := rows[d.a], rows[d.b]
		if a == nil || b == nil || a[d.column] == "" || number(t, a[d.column]) == number(t, b[d.column]) {
			t.Errorf("%s and %s agree on %s (%q, %q); choice made: %s", d.a, d.b, d.column, a[d.column], b[d.column], d.choice)
		}
	}
}

// TestOlderPoultryAgrees: an older edition prints the last rows of 12 % fat as
// a time of its own, or as less than 10.0 s where that of 2021 prints 0 s.
func TestOlderPoultryAgrees(t *testing.T) {
	t.Parallel()
	rows := published(t, "cook_lethality.csv")
	for id, old := range rows {
		if !strings.HasPrefix(id, "FSISOLD-POUL-") {
			continue
		}
		agrees := false
		for _, r := range rows {
			if r["edition"] != "2021-12" || r["species"] != old["species"] || r["fat_pct"] != "12" || r["temp_F"] != old["temp_F"] {
				continue
			}
			agrees = old["dwell_s"] == "" && number(t, r["dwell_s"]) < 10 ||
				old["dwell_s"] != "" && number(t, r["dwell_s"]) == number(t, old["dwell_s"])
		}
		if !agrees {
			t.Errorf("%s, %s, is not what the edition of 2021 prints", id, old["dwell_as_published"])
		}
	}
}

// growthMinima are the organisms of which one file has where exposure begins to
// count and another where growth begins.
var growthMinima = map[string]string{
	"fda-fish-exposure-salmonella-c":               "GROWMIN-066",
	"fda-fish-exposure-listeria-c":                 "GROWMIN-071",
	"fda-fish-exposure-yersinia-c":                 "GROWMIN-069",
	"fda-fish-exposure-staphylococcus-c":           "GROWMIN-067",
	"fda-fish-exposure-bacillus-cereus-c":          "GROWMIN-079",
	"fda-fish-exposure-botulinum-nonproteolytic-c": "GROWMIN-081",
	"fda-fish-exposure-botulinum-proteolytic-c":    "GROWMIN-082",
	"fda-fish-exposure-ecoli-c":                    "GROWMIN-070",
	"fda-fish-exposure-campylobacter-c":            "GROWMIN-068",
	"fda-fish-exposure-perfringens-c":              "GROWMIN-072",
}

// elsewhere are those whose two sources differ, with how.
var elsewhere = map[string]string{
	"GROWMIN-070": "E. coli: 7 C, and 6.6 C in the seafood guide",
	"GROWMIN-068": "Campylobacter: 32 C, and 30 C in the seafood guide",
	"GROWMIN-072": "C. perfringens: 4 C, and 10 C in the seafood guide",
}

// TestExposureBeginsWhereGrowthBegins compares recalled bands with minima that
// were seen.
func TestExposureBeginsWhereGrowthBegins(t *testing.T) {
	t.Parallel()
	rows := published(t, "cold_limits.csv")
	for name, id := range growthMinima {
		begins := find(t, name).Values.Rows["bands"][0].Temperatures[0]
		grows := temperature(t, rows[id]["temp_to_C"]+" C")
		if _, differ := elsewhere[id]; (begins != grows) != differ {
			t.Errorf("%s begins at %s, %s prints %s", name, begins, id, grows)
		}
	}
}
