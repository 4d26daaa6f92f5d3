package rules

import (
	"math"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"go.yaml.in/yaml/v4"

	"lastgood/policy/limit"
)

// read compiles a document that is YAML.
func read(t testing.TB, text string) (*Rules, []Problem) {
	t.Helper()
	var doc yaml.Node
	if err := yaml.Load([]byte(text), &doc); err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	return Compile(doc.Content[0], []byte(text))
}

// good compiles a document without a problem.
func good(t testing.TB, text string) *Rules {
	t.Helper()
	r, problems := read(t, text)
	for _, p := range problems {
		t.Errorf("%d:%d %s %s: %s", p.Line, p.Column, p.Path, p.Rule, p.Detail)
	}
	if r == nil {
		t.Fatalf("no rules in\n%s", text)
	}
	return r
}

// TestDefaultTextIsADocument: what is shown to be copied is what applies.
func TestDefaultTextIsADocument(t *testing.T) {
	t.Parallel()
	copied := good(t, DefaultText())
	if d := try(Default(), copied, someFacts()); len(d) > 0 {
		t.Errorf("differences: %v", d)
	}
}

func TestADocumentWithoutRulesHasTheBuiltInOnes(t *testing.T) {
	t.Parallel()
	for _, text := range []string{"limits: []\n", "{}\n", "rulez: []\n"} {
		if d := try(Default(), good(t, text), someFacts()); len(d) > 0 {
			t.Errorf("%s: differences: %v", text, d)
		}
	}
}

// TestAPartReplacesItsPartOnly: rules of its own leave the levels, the signers
// and the deadlines as they are.
func TestAPartReplacesItsPartOnly(t *testing.T) {
	t.Parallel()
	r := good(t, `rules: [{rule: all, when: "true", route: destroy, reason: everything goes}]`)
	f := Facts{Verdict: indeterminate, InControl: true, Kind: "at_least"}
	got, want := r.Evaluate(f), Default().Evaluate(f)
	if got.Route != Destroy || got.RouteRule != "all" || got.RouteReason != "everything goes" {
		t.Errorf("route %s by %s: %s", got.Route, got.RouteRule, got.RouteReason)
	}
	want.Route, want.RouteRule, want.RouteReason, want.Means = got.Route, got.RouteRule, got.RouteReason, Default().means[Destroy]
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
}

func TestPartsAreCounted(t *testing.T) {
	t.Parallel()
	want := []Part{{"levels", 7, true}, {"rules", 9, true}, {"routes", 6, true}, {"signers", 6, true}, {"deadlines", 3, true}}
	if d := cmp.Diff(want, Default().Parts()); d != "" {
		t.Error(d)
	}
	want[2] = Part{"routes", 1, false}
	if d := cmp.Diff(want, good(t, "routes: {rework: cook it again}").Parts()); d != "" {
		t.Error(d)
	}
}

func TestMeansAreShown(t *testing.T) {
	t.Parallel()
	r := good(t, `routes: {hold_and_retest: "cage 3, form 12"}`)
	if o := r.Evaluate(Facts{Verdict: unknown, InControl: true}); o.Means != "cage 3, form 12" {
		t.Errorf("means %q", o.Means)
	}
}

func TestSilentRulesHoldAtFour(t *testing.T) {
	t.Parallel()
	r := good(t, `
levels: [{rule: met, when: verdict == "met", level: 1, reason: met after correction}]
rules: [{rule: met, when: verdict == "met", route: release_with_record, reason: met after correction}]
`)
	o := r.Evaluate(Facts{Verdict: missed, InControl: true, Severity: "minor"})
	if o.Level != 4 || o.LevelRule != "no-rule" || o.Route != HoldAndRetest || o.RouteRule != "no-route" {
		t.Errorf("%+v", o)
	}
}

func TestVocabularyIsWhole(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, f := range Vocabulary() {
		if f.Type == "" || f.Meaning == "" || len(f.Parts) == 0 || seen[f.Name] {
			t.Errorf("%+v", f)
		}
		seen[f.Name] = true
	}
	for _, base := range []string{"ready_to_eat", "vulnerable", "supports_growth"} {
		if !seen[base+"_or_unknown"] || !seen[base+"_known"] {
			t.Errorf("%s: nobody can tell yes from not known", base)
		}
	}
	for _, base := range []string{"probability_missed", "shipped_share", "consignees", "hours_to_next_shipment", "shelf_life_hours"} {
		if !seen[base+"_at_worst"] || !seen[base+"_known"] {
			t.Errorf("%s: nobody can tell the worst from not known", base)
		}
	}
}

// TestWordsOfTheLimits: a rule can name every kind of limit and every way of
// watching one that a policy can have.
func TestWordsOfTheLimits(t *testing.T) {
	t.Parallel()
	if d := cmp.Diff(append(limit.KindNames(), unknown), kindWords); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{limit.Discrete, limit.Continuous, limit.OnException, unknown}, monitoringWords); d != "" {
		t.Error(d)
	}
}

// TestUnknownIsTheWorst: each fact that may be unknown, in a condition that holds
// only for its worst value.
func TestUnknownIsTheWorst(t *testing.T) {
	t.Parallel()
	for _, when := range []string{
		"probability_missed_at_worst == 1.0 && !probability_missed_known",
		"shipped_share_at_worst == 1.0 && !shipped_share_known",
		"consignees_at_worst >= 1000000 && !consignees_known",
		"hours_to_next_shipment_at_worst == 0.0 && !hours_to_next_shipment_known",
		"shelf_life_hours_at_worst == 0.0 && !shelf_life_hours_known",
		`grave_or_unknown && severity == "unknown" && kind == "unknown" && monitoring == "unknown"`,
		"ready_to_eat_or_unknown && !ready_to_eat_known",
		"vulnerable_or_unknown && !vulnerable_known",
		"supports_growth_or_unknown && !supports_growth_known",
		`limit == "" && product == "" && hazard == ""`,
		`verdict == "unknown" && !kill_step`,
	} {
		if !holds(t, when, Facts{Shipped: true, KillStep: true, Verdict: "fine", Severity: "bad", Kind: "new", ShelfLifeHours: new(-1.0), Consignees: new(-1), ShippedShare: new(math.NaN())}) {
			t.Errorf("%s does not hold where nothing is known", when)
		}
	}
}

// TestKnownFactsArrive: each fact of a lot of which all is known.
func TestKnownFactsArrive(t *testing.T) {
	t.Parallel()
	f := Facts{
		Verdict: indeterminate, NoLastGood: true, KillStep: true, ProbabilityMissed: new(0.25), Shipped: true, InControl: true,
		ShippedShare: new(0.5), Consignees: new(3), HoursToNextShipment: new(6.0), ShelfLifeHours: new(48.0), Severity: "minor",
		Hazard: "salmonella", ReadyToEat: new(false), Vulnerable: new(false), SupportsGrowth: new(false), Limit: "cook-core",
		Product: "pie", Kind: "at_least", Monitoring: "discrete",
	}
	for _, when := range []string{
		`verdict == "indeterminate" && !missed_as_recorded && no_last_good && kill_step && shipped && in_control`,
		"probability_missed_at_worst == 0.25 && shipped_share_at_worst == 0.5 && consignees_at_worst == 3",
		"hours_to_next_shipment_at_worst == 6.0 && shelf_life_hours_at_worst < 49",
		`severity == "minor" && !grave_or_unknown && hazard == "salmonella" && limit.startsWith("cook-") && product == "pie"`,
		"!ready_to_eat_or_unknown && !vulnerable_or_unknown && !supports_growth_or_unknown",
		"ready_to_eat_known && vulnerable_known && supports_growth_known && probability_missed_known",
		"shipped_share_known && consignees_known && hours_to_next_shipment_known && shelf_life_hours_known",
		`kind in ["at_least", "hold"] && monitoring == "discrete"`,
	} {
		if !holds(t, when, f) {
			t.Errorf("%s does not hold", when)
		}
	}
}

func TestWhatNeverShippedHasNoShare(t *testing.T) {
	t.Parallel()
	if !holds(t, "shipped_share_at_worst == 0.0 && shipped_share_known && consignees_at_worst == 0 && consignees_known", Facts{}) {
		t.Error("nothing has shipped, and a share or a consignee is not known")
	}
	if !holds(t, "shipped", Facts{Consignees: new(1)}) || !holds(t, "shipped", Facts{ShippedShare: new(0.1)}) {
		t.Error("what reached somebody has not shipped")
	}
}

func holds(t *testing.T, when string, f Facts) bool {
	t.Helper()
	program, _, faults := condition(when, levelStage)
	if faults != nil {
		t.Fatalf("%s: %+v", when, faults)
	}
	ok, err := line{name: "a", program: program}.matches(newActivation(f.settled()))
	if err != nil {
		t.Fatal(err)
	}
	return ok
}

// TestRulesAreShared: many goroutines, one set of rules, the same outcomes.
func TestRulesAreShared(t *testing.T) {
	t.Parallel()
	facts := someFacts()
	want := make([]Outcome, len(facts))
	for i, f := range facts {
		want[i] = Default().Evaluate(f)
	}
	var group sync.WaitGroup
	for range 8 {
		group.Go(func() {
			for i, f := range facts {
				if got := Default().Evaluate(f); !cmp.Equal(want[i], got) {
					t.Errorf("%+v gives %+v and %+v", f, want[i], got)
					return
				}
			}
		})
	}
	group.Wait()
}
