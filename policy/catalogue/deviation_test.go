package catalogue

import (
	"strings"
	"testing"
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// facts are the rows of deviation_facts.csv that a limit computes, each with its
// test here or beside it.
var facts = map[string]func(*testing.T, row){
	"DF-001": allowForTheThermometer,
	"DF-002": lowestReading,
	"DF-005": anotherPair,
	"DF-006": timeAtOrAbove,
	"DF-030": logs("fsis-cook-meat-6.5-log", "FSIS21-MEAT-"),
	"DF-031": logs("fsis-cook-chicken-7-log-fat-5", "FSIS21-CHIC-"),
	"DF-032": logs("cfr-318.23-cook-patty-5-log", "CFR318.23-"),
	"DF-043": neverHigher,
	"DF-045": notInterpolated,
	"DF-046": cumulative,
}

// noFact are the other rows, with why no limit computes them.
var noFact = map[string]string{
	"DF-003": "which temperature is monitored is the plan's choice",
	"DF-004": "a list of deviation types",
	"DF-007": "the choice of D and z is a person's; policy/lethality does the sum",
	"DF-008": "a dried surface shows in no record of temperature; the entries carry it as humidity",
	"DF-009": "a rule for releasing a recook", "DF-010": "what to do without a recook",
	"DF-011": "a clock on the way up; no kind of limit has one", "DF-012": "a clock on the way up; no kind of limit has one",
	"DF-013": "growth; policy/growth", "DF-014": "growth added to a target by the process authority", "DF-015": "growth; policy/growth",
	"DF-016": "growth; policy/growth", "DF-017": "a rule for release", "DF-018": "how models are fed; policy/growth",
	"DF-019": "how models are fed; policy/growth", "DF-020": "growth; policy/growth", "DF-021": "growth; policy/growth",
	"DF-022": "which temperature is modelled", "DF-023": "how models are fed", "DF-024": "a rule for models",
	"DF-025": "sampling; policy/sampling", "DF-026": "a rule for release", "DF-027": "corrective action", "DF-028": "corrective action",
	"DF-029": "growth; policy/growth", "DF-033": "growth; policy/growth", "DF-034": "growth; policy/growth",
	"DF-035": "low confidence", "DF-036": "that cooling goes on shows in the record; no figure", "DF-037": "a model's validity",
	"DF-038": "a model's validity", "DF-039": "what a deviation is", "DF-040": "corrective action", "DF-041": "corrective action",
	"DF-042": "how often instruments are checked", "DF-044": "how often instruments are checked", "DF-047": "corrective action",
	"DF-048": "flow diversion is the machine's", "DF-049": "low confidence",
}

func TestDeviationFacts(t *testing.T) {
	t.Parallel()
	for _, r := range table(t, "deviation_facts.csv") {
		test, computed := facts[r["id"]]
		if _, listed := noFact[r["id"]]; listed == computed {
			t.Errorf("%s: computed %v, listed %v: %s", r["id"], computed, listed, r["fact"])
			continue
		}
		if computed {
			t.Run(r["id"], func(t *testing.T) { t.Parallel(); test(t, r) })
		}
	}
	if n := len(table(t, "deviation_facts.csv")); n != len(facts)+len(noFact) {
		t.Errorf("%d rows, %d tested and %d listed", n, len(facts), len(noFact))
	}
}

// doubted is the verdict on single readings of an instrument whose error lies
// anywhere within ± some degrees F.
func doubted(t *testing.T, l limit.Limit, plusMinus float64, at ...unit.Micro) limit.Verdict {
	t.Helper()
	k := unit.DiffToKelvin(plusMinus, unit.FahrenheitScale)
	s := seriesOf(l, at...)
	end := s.Samples[len(s.Samples)-1].At
	errs := metrology.Constant(-k, k, 0, 0, k/2, start-1, end+1, end+1)
	r, err := l.Evaluate(s, errs, limit.Onset{After: start - 1, FailedAt: end + 1})
	if err != nil {
		t.Fatal(err)
	}
	return r.Verdict
}

// allowForTheThermometer: what needs 165 F with a thermometer good to ±1 F needs
// a limit of 166 F: at 166 F the worst error is absorbed, a millionth lower not.
func allowForTheThermometer(t *testing.T, r row) {
	l := made(t, find(t, "food-code-cook-poultry-165-f"))
	limitF := temperature(t, r["number"]+" F").Value
	want(t, "166 F", doubted(t, l, 1, limitF), limit.Met)
	want(t, "a millionth lower", doubted(t, l, 1, limitF-1), limit.Indeterminate)
	want(t, "with a perfect thermometer", judged(t, l, point{0, limitF - unit.PerDegree}), limit.Met)
}

// lowestReading: a mean above the limit does not help a reading below it.
func lowestReading(t *testing.T, _ row) {
	l := made(t, find(t, "food-code-cook-poultry-165-f"))
	want(t, "mean 170 F", judged(t, l, point{0, 176_000_000}, point{time.Minute, 164_000_000}), limit.Missed)
}

// anotherPair: the fact's own note, planned 158 F at once, 154 F held for 27 s
// passes as well.
func anotherPair(t *testing.T, r row) {
	if !strings.Contains(r["note"], "planned 158 F instant; 154 F held 27 s also passes") {
		t.Fatalf("the note is %q", r["note"])
	}
	l := made(t, find(t, "fsis-cook-meat-6.5-log"))
	want(t, "158 F", judged(t, l, point{0, 158_000_000}), limit.Met)
	want(t, "154 F for 27 s", held(t, l, 154_000_000, 27*time.Second), limit.Met)
	want(t, "154 F for less", held(t, l, 154_000_000, 27*time.Second-us), limit.Missed)
}

// timeAtOrAbove: time counts while product is at or above the lower temperature,
// however it varies above it, and not while it is below.
func timeAtOrAbove(t *testing.T, r row) {
	l := made(t, find(t, "fsis-cook-meat-6.5-log"))
	d := lasting(t, r["number"], time.Second)
	above := point{d / 2, 157_000_000}
	want(t, "154 F and above", judged(t, l, point{0, 154_000_000}, above, point{d, 154_000_000}), limit.Met)
	below := point{d / 2, 154_000_000 - 1}
	want(t, "interrupted", judged(t, l, point{0, 154_000_000}, below, point{d, 154_000_000}), limit.Missed)
}

// logs holds an entry's rows to the reduction that a performance standard asks
// for.
func logs(entry, prefix string) func(*testing.T, row) {
	return func(t *testing.T, r row) {
		rows := published(t, "cook_lethality.csv")
		for _, id := range find(t, entry).Rows {
			if !strings.HasPrefix(id, prefix) || number(t, rows[id]["log_reduction"]) != number(t, r["number"]) {
				t.Errorf("%s quotes %s for %s log", entry, id, rows[id]["log_reduction"])
			}
		}
	}
}

// neverHigher: a recorder that reads lower than the indicator has made its
// product hotter than it says. That never turns a lot that met into one in
// doubt; one that reads higher does.
func neverHigher(t *testing.T, _ row) {
	l := made(t, find(t, "food-code-cook-poultry-165-f"))
	for reads, verdict := range map[float64]limit.Verdict{-2: limit.Met, 2: limit.Missed} {
		k := unit.DiffToKelvin(reads, unit.FahrenheitScale)
		s := seriesOf(l, 165_000_000)
		r, err := l.Evaluate(s, metrology.Constant(k, k, k, k, 0, start-1, start+1, start+1), limit.Onset{After: start - 1, FailedAt: start + 1})
		if err != nil {
			t.Fatal(err)
		}
		want(t, "165 F", r.Verdict, verdict)
	}
}

// notInterpolated: half-way between two bands the colder band's time counts
// whole, and the warmer one's from its first degree on.
func notInterpolated(t *testing.T, _ row) {
	e := find(t, "fda-fish-exposure-salmonella-c")
	l, bands := made(t, e), e.Values.Rows["bands"]
	for i := range len(bands) - 1 {
		low, high := bands[i].Temperatures[0].Value, bands[i+1].Temperatures[0].Value
		want(t, "between", held(t, l, (low+high)/2, bands[i].Time), limit.Met)
		want(t, "just below the next", held(t, l, high-1, bands[i].Time), limit.Met)
		want(t, "at the next", held(t, l, high, bands[i+1].Time+us), limit.Missed)
	}
}

// cumulative: time in two bands adds up in the colder one.
func cumulative(t *testing.T, _ row) {
	e := find(t, "fda-fish-raw-rte-50-f-4h-70-f-2h") // FEX-050: 4 h of which 2 h at 70-135 F
	l := made(t, e)
	record := func(cool time.Duration) []point {
		return []point{{0, 49_000_000}, {0, 70_000_000}, {2 * time.Hour, 70_000_000}, {2 * time.Hour, 60_000_000}, {2*time.Hour + cool, 60_000_000}, {2*time.Hour + cool, 49_000_000}}
	}
	want(t, "2 h at 70 F and 2 h at 60 F", judged(t, l, record(2*time.Hour)...), limit.Met)
	want(t, "a little longer", judged(t, l, record(2*time.Hour+us)...), limit.Missed)
}
