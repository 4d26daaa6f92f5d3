package workflow

import (
	"fmt"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/document"
	"lastgood/policy/rules"
	"lastgood/workflow/lot"
)

// asked returns what the rules were asked of a lot, without the probability.
func asked(t *testing.T, run Run, code string) rules.Facts {
	t.Helper()
	for _, a := range run.Assessments {
		if a.Lot == code && a.Facts != nil {
			f := *a.Facts
			f.ProbabilityMissed = nil
			return f
		}
	}
	t.Fatalf("no facts of %s in %+v", code, run.Assessments)
	return rules.Facts{}
}

// TestFactsThatTheRulesAreAsked: what is known of product, place, use and shelf
// life, and that the unknown stays unknown. It is 12:00 on 28 March.
func TestFactsThatTheRulesAreAsked(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.adopts(hourly)
	s.added(s.AddProducts(s.ctx, s.sc, []lot.Product{{Code: "roast", Name: "roast", ReadyToEat: new(true), SupportsGrowth: new(false),
		Consumers: lot.Vulnerable, ShelfLifeDays: new(30)}}))
	s.madeAt("kept", "roast", march(3, 7, 0))
	s.madeAt("sold", "roast", march(4, 7, 0))
	s.madeAt("strange", "soup", march(4, 7, 0))
	s.added(s.AddShipments(s.ctx, s.sc, []lot.Shipment{
		{Shipment: "S-1", Lot: "sold", Quantity: kg("40"), ShippedAt: march(4, 9, 0), Consignee: "shop-1"},
		{Shipment: "S-2", Lot: "sold", Quantity: kg("60"), ShippedAt: march(4, 9, 0), Consignee: "shop-2"},
		{Shipment: "S-3", Lot: "strange", Quantity: kg("100"), ShippedAt: march(4, 9, 0)}}))
	s.reads(cooked("T-1", march(3, 7, 0), 72, "kept"), cooked("T-1", march(4, 7, 0), 72, "sold"), cooked("T-1", march(4, 8, 0), 72, "strange"))
	run := s.trace(s.fails("T-1", march(5, 6, 0)))
	kept := rules.Facts{Verdict: "indeterminate", InControl: true, Consignees: new(0), ShelfLifeHours: new(115.0), Severity: "serious", Hazard: "salmonella",
		ReadyToEat: new(true), Vulnerable: new(true), SupportsGrowth: new(false), Limit: "cook", Product: "roast", Kind: "at_least", Monitoring: "discrete"}
	if d := cmp.Diff(kept, asked(t, run, "kept")); d != "" {
		t.Error(d)
	}
	sold := kept
	sold.Shipped, sold.InControl, sold.Consignees, sold.ShelfLifeHours = true, false, new(2), new(139.0)
	if d := cmp.Diff(sold, asked(t, run, "sold")); d != "" {
		t.Error(d)
	}
	strange := asked(t, run, "strange")
	if strange.Product != "soup" || strange.ReadyToEat != nil || strange.SupportsGrowth != nil || strange.ShelfLifeHours != nil || !strange.Shipped {
		t.Errorf("%+v", strange)
	}
}

// TestTrialIsOnTheRecord: a trial of the policy that decided finds nothing, one
// that rates a hazard otherwise tells which lots, and neither writes.
func TestTrialIsOnTheRecord(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	before := s.everything()
	if trial := s.tries(housePolicy); trial.Deviations != 0 {
		t.Errorf("nothing was traced: %+v", trial)
	}
	if s.everything() != before {
		t.Error("the trial wrote something")
	}
	s.trace(d)
	run := s.trace(d) // the last run counts, and it once
	trial := s.tries(housePolicy)
	if trial.Deviations != 1 || trial.Assessments != len(run.Assessments) || trial.WithoutFacts != 0 || len(trial.Differences) != 0 {
		t.Errorf("the same policy: %+v", trial)
	}
	const lesser = `
limits: [{limit: other, kind: at_least, temperature: 60 C}]
severities: {salmonella: minor}
`
	trial = s.tries(lesser)
	var got []string
	for _, x := range trial.Differences {
		got = append(got, fmt.Sprintf("%s %d %d %v %d %d", x.Assessment.Lot, x.Run, x.PolicyVersion, x.What, x.Assessment.Impact.Level, x.Would.Level))
	}
	// In the plant and indeterminate, of a serious hazard: 3. Of a lesser one no
	// rule speaks, and what no rule covers is 4. What met stays as it is.
	if d := cmp.Diff([]string{"B 2 1 [level signers deadlines] 3 4"}, got); d != "" {
		t.Errorf("%s%+v", d, trial)
	}
}

func (s *site) tries(text string) Trial {
	s.Helper()
	p, problems := document.Parse([]byte(text))
	if len(problems) > 0 {
		s.Fatalf("%v", problems)
	}
	trial, err := s.TryPolicy(s.ctx, s.sc, p)
	s.must(err)
	return trial
}

// TestKillStepThatAPolicyDoesNotName clears nothing under it.
func TestKillStepThatAPolicyDoesNotName(t *testing.T) {
	t.Parallel()
	parse := func(text string) *document.Policy {
		p, problems := document.Parse([]byte(text))
		if len(problems) > 0 {
			t.Fatal(problems)
		}
		return p
	}
	named := parse(`
limits: [{limit: retort, kind: lethality, reference: 121.1 C, z: 10 K, minutes: 3, max_gap: 1m}]
hazards: [{hazard: salmonella, severity: serious, toxin: false}]
kill_steps: [{limit: retort, clears: [salmonella]}]
`)
	a := Assessment{KillStep: &KillStep{Limit: "retort"}, Facts: &rules.Facts{Verdict: "indeterminate", InControl: true, Hazard: "salmonella", KillStep: true}}
	a.decide(named.Rules)
	run := &Run{Assessments: []Assessment{a, {Lot: "of a run from before facts were kept"}}}
	var same, other Trial
	same.try(named, 1, run)
	other.try(parse(housePolicy), 1, run)
	if len(same.Differences) != 0 || same.WithoutFacts != 1 || same.Assessments != 2 {
		t.Errorf("%+v", same)
	}
	if len(other.Differences) != 1 || !slices.Contains(other.Differences[0].What, "route") || other.Differences[0].Would.Route != rules.HoldAndRetest {
		t.Errorf("%+v", other)
	}
}

// TestOutcomeIsRecordedWhole: what the rules proposed comes back from the record
// as it was.
func TestOutcomeIsRecordedWhole(t *testing.T) {
	t.Parallel()
	f := rules.Facts{Verdict: "missed", Shipped: true, Kind: "lethality"}
	a := Assessment{Facts: &f}
	a.decide(rules.Default())
	if d := cmp.Diff(rules.Default().Evaluate(f), a.Outcome()); d != "" {
		t.Error(d)
	}
}
