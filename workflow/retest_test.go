package workflow

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"lastgood/policy/disposition"
	"lastgood/policy/sampling"
	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/retest"
	"lastgood/workflow/signoff"
)

// listeria is an order of two samples, none of which may be above m.
func listeria(lotCode string) NewRetest {
	zero := 0.0
	return NewRetest{Lot: lotCode, N: 2, Limit: &zero, Unit: "detected in 25 g", Terms: retest.Terms{Analyte: "Listeria monocytogenes",
		Reach: sampling.WholeLot, Laboratory: "an invented laboratory", Custody: "in a cooled box, by the plant's driver", Reason: "the verdict leaves it open"}}
}

func (s *site) orders(d Deviation, n NewRetest) Retest {
	s.Helper()
	t, err := s.OrderRetest(s.ctx, s.as(disposition.QALead), d.ID, n)
	s.must(err)
	return t
}

// system is the scope of a plant's system, which records and never decides.
func (s *site) system() pg.Scope {
	return pg.Scope{Plant: s.sc.Plant, By: actor.Actor{ID: "lims", Kind: actor.Key}}
}

// received draws samples and lets the laboratory receive them.
func (s *site) received(t Retest, samples ...string) Retest {
	s.Helper()
	var list []NewSample
	for _, n := range samples {
		list = append(list, NewSample{n, march(20, 8, 0), "operator-1", "pallet 1"})
	}
	_, err := s.DrawSamples(s.ctx, s.system(), t.ID, list)
	s.must(err)
	_, err = s.HandOver(s.ctx, s.system(), t.ID, NewCustody{At: march(20, 9, 0), Who: "driver-1", Condition: "2 C, seal 14"})
	s.must(err)
	t, err = s.ReceiveSamples(s.ctx, s.system(), t.ID, NewCustody{At: march(20, 11, 0), Who: t.Laboratory, Condition: "3 C, seal whole", Reference: "L-77"})
	s.must(err)
	return t
}

// found is what the laboratory found in a sample.
func found(t Retest, sample string, value float64) NewResult {
	return NewResult{Lot: t.Lot, Sample: sample, Value: value, Unit: t.Plan.Unit, Method: "ISO 11290-1", Laboratory: t.Laboratory, Report: "R-1", TestedAt: march(24, 8, 0)}
}

func (s *site) reports(t Retest, list ...NewResult) Retest {
	s.Helper()
	t, err := s.ReportResults(s.ctx, s.system(), t.ID, list)
	s.must(err)
	return t
}

func (s *site) stateOfPortion(code string) string {
	s.Helper()
	var state []string
	s.query(&state, `select p.state from portion p join lot l using (plant_id, lot_id) where p.plant_id = $1 and l.code = $2 and p.label = ''`, s.sc.Plant, code)
	return state[0]
}

func TestRetestFromOrderToDecision(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	r := s.orders(d, listeria("B"))
	s.is(d, AwaitingResults, false)
	if r.State != string(TestOrdered) || s.stateOfPortion("B") != "under_test" {
		t.Errorf("re-test %s, portion %s", r.State, s.stateOfPortion("B"))
	}
	s.gate("B", "on-hold")
	if err := s.acknowledgeNothing(d, "B"); err != nil {
		t.Errorf("the hold does not stay: %v", err)
	}
	if r = s.received(r, "S-1", "S-2"); r.State != string(TestInLaboratory) || len(r.Custody) != 2 {
		t.Errorf("%s with %d steps of custody", r.State, len(r.Custody))
	}
	if left := s.codes(d); !slices.Contains(left, "lab_result_pending") {
		t.Errorf("in the way: %v", left)
	}
	if r = s.reports(r, found(r, "S-1", 0)); r.State != string(TestInLaboratory) || r.Outcome.Missing != 1 {
		t.Errorf("%s, %d results missing", r.State, r.Outcome.Missing)
	}
	r = s.reports(r, found(r, "S-2", 0))
	if r.State != string(TestDecided) || r.Outcome.Decision != sampling.Accept {
		t.Errorf("%s: %s", r.State, r.Outcome.Reason)
	}
	s.is(d, Evaluating, false)
	if got := s.stateOfPortion("B"); got != "on_hold" {
		t.Errorf("the portion is %s", got)
	}
	// Product tests alone never release what may have missed its limit.
	var rows fault.Rows
	if err := s.proposes(d, "B", "", disposition.Release); !errors.As(err, &rows) || rows[0].Rule != "disposition-not-allowed" {
		t.Errorf("released on a test alone: %v", err)
	}
	s.must(s.proposes(d, "A", "", disposition.Release))
	s.must(s.proposes(d, "B", "", disposition.Destroy))
	s.signAll(d, signoff.Disposition)
	s.is(d, DispositionSigned, false)
}

// acknowledgeNothing says whether a hold stands on a lot.
func (s *site) acknowledgeNothing(d Deviation, code string) error {
	if !slices.Contains(s.held(d), code) {
		return errors.New(code + " is not held")
	}
	return nil
}

func TestWhatIsNoRetest(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	_, err := s.OrderRetest(s.ctx, s.as(disposition.QALead), d.ID, listeria("B"))
	if !isFault(err, fault.Refused, "transition-not-allowed") {
		t.Errorf("before anyone evaluates: %v", err)
	}
	s.evaluates(d)
	for name, c := range map[string]struct {
		change func(*NewRetest)
		rule   string
	}{
		"a lot not in doubt":     {func(n *NewRetest) { n.Lot = "C" }, "unknown-lot"},
		"no samples":             {func(n *NewRetest) { n.N = 0 }, "bad-plan"},
		"no limit":               {func(n *NewRetest) { n.Limit = nil }, "bad-plan"},
		"all may be bad":         {func(n *NewRetest) { n.C = 2 }, "bad-plan"},
		"no such plan":           {func(n *NewRetest) { n.Plan = "icmsf-99" }, "unknown-plan"},
		"a published plan bent":  {func(n *NewRetest) { n.Plan = "icmsf-13" }, "plan-changed"},
		"speaks for nobody":      {func(n *NewRetest) { n.Reach = "" }, "unknown-word"},
		"nothing tagged":         {func(n *NewRetest) { n.Reach = sampling.TaggedOnly }, "text-missing"},
		"no custody":             {func(n *NewRetest) { n.Custody = " " }, "text-missing"},
		"fewer units than drawn": {func(n *NewRetest) { n.Units = 1 }, "bad-plan"},
	} {
		n := listeria("B")
		c.change(&n)
		if _, err := s.OrderRetest(s.ctx, s.as(disposition.QALead), d.ID, n); firstRule(err) != c.rule {
			t.Errorf("%s: %v, want %s", name, err, c.rule)
		}
	}
	for who, sc := range map[string]pg.Scope{"a key": s.system(), "a supervisor": s.as(disposition.LineSupervisor)} {
		if _, err := s.OrderRetest(s.ctx, sc, d.ID, listeria("B")); !errors.Is(err, fault.Forbidden) {
			t.Errorf("%s orders: %v", who, err)
		}
	}
	n := listeria("B")
	n.Plan, n.N = "icmsf-13", 0
	if r := s.orders(d, n); r.Plan.N != 15 || r.Plan.C != 0 { // ICMSF, Microorganisms in Foods 2 (1986), case 13
		t.Errorf("plan %+v", r.Plan)
	}
}

func TestResultsTieToSampleAndLot(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	r := s.orders(d, listeria("B"))
	other := s.orders(d, listeria("A"))
	if _, err := s.ReportResults(s.ctx, s.system(), r.ID, []NewResult{found(r, "S-1", 0)}); !isFault(err, fault.Refused, "transition-not-allowed") {
		t.Errorf("a result of nothing drawn: %v", err)
	}
	r, other = s.received(r, "S-1", "S-2"), s.received(other, "S-3", "S-4")
	if _, err := s.DrawSamples(s.ctx, s.system(), r.ID, []NewSample{{"S-3", march(20, 8, 0), "operator-1", "pallet 1"}}); firstRule(err) != "duplicate" {
		t.Errorf("one number twice: %v", err)
	}
	for name, c := range map[string]struct {
		change func(*NewResult)
		rule   string
	}{
		"another order's sample": {func(n *NewResult) { n.Sample = "S-3" }, "unknown-sample"},
		"another lot":            {func(n *NewResult) { n.Lot = "A" }, "other-lot"},
		"another laboratory":     {func(n *NewResult) { n.Laboratory = "elsewhere" }, "other-laboratory"},
		"another unit":           {func(n *NewResult) { n.Unit = "cfu/g" }, "unknown-unit"},
		"no report":              {func(n *NewResult) { n.Report = "" }, "text-missing"},
		"tomorrow":               {func(n *NewResult) { n.TestedAt = march(29, 0, 0) }, "in-the-future"},
	} {
		n := found(r, "S-1", 0)
		c.change(&n)
		if _, err := s.ReportResults(s.ctx, s.system(), r.ID, []NewResult{found(r, "S-2", 0), n}); firstRule(err) != c.rule {
			t.Errorf("%s: %v, want %s", name, err, c.rule)
		}
	}
	if n := s.count(`select count(*) from retest_result`); n != 0 {
		t.Errorf("%d results of refused reports are kept", n)
	}
	r = s.reports(r, found(r, "S-1", 0))
	if _, err := s.ReportResults(s.ctx, s.system(), r.ID, []NewResult{found(r, "S-1", 0)}); firstRule(err) != "result-stands" {
		t.Errorf("a second result beside the first: %v", err)
	}
	if r = s.reports(r, found(r, "S-2", 1)); r.Outcome.Decision != sampling.Reject {
		t.Errorf("%s", r.Outcome.Reason)
	}
	s.is(d, AwaitingResults, false) // the other one has not decided
	_ = other
}

// A bad result goes away only by signature, and whoever signs sees that it was bad.
func TestVoidNeedsTwoSignatures(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	r := s.received(s.orders(d, listeria("B")), "S-1", "S-2")
	r = s.reports(r, found(r, "S-1", 1))
	if r.State != string(TestDecided) || r.Outcome.Decision != sampling.Reject {
		t.Fatalf("%s: %s", r.State, r.Outcome.Reason)
	}
	if _, err := s.AskToCancelRetest(s.ctx, s.as(disposition.QALead), r.ID, "it is inconvenient"); !isFault(err, fault.Refused, "transition-not-allowed") {
		t.Errorf("an order that decided is taken back: %v", err)
	}
	if _, err := s.AskToVoid(s.ctx, s.as(disposition.QALead), r.Results[0].ID, " "); firstRule(err) != "reason-missing" {
		t.Errorf("without a reason: %v", err)
	}
	v, err := s.AskToVoid(s.ctx, s.as(disposition.QALead), r.Results[0].ID, "the seal was broken")
	s.must(err)
	s.must(s.signs(disposition.QALead, v))
	if got, _ := s.Retest(s.ctx, s.sc, r.ID); got.Outcome.Decision != sampling.Reject {
		t.Error("one signature voids")
	}
	s.signAll(d, signoff.Void)
	r, err = s.Retest(s.ctx, s.sc, r.ID)
	s.must(err)
	if r.State != string(TestInLaboratory) || r.Outcome.VoidedAbove != 1 || !strings.Contains(r.Outcome.Reason, "voided") {
		t.Errorf("%s: %s", r.State, r.Outcome.Reason)
	}
	s.is(d, AwaitingResults, false)
	if _, err := s.AskToVoid(s.ctx, s.as(disposition.QALead), r.Results[0].ID, "again"); firstRule(err) != "not-standing" {
		t.Errorf("voided twice: %v", err)
	}
	_, err = s.AskToCancelRetest(s.ctx, s.as(disposition.QALead), r.ID, "the product is destroyed anyway")
	s.must(err)
	s.signAll(d, signoff.Void)
	if r, _ = s.Retest(s.ctx, s.sc, r.ID); r.State != string(TestCancelled) {
		t.Errorf("cancelled: %s", r.State)
	}
	s.is(d, Evaluating, false)
}

// A corrected result asks again for what was signed on the one before it.
func TestCorrectedResultOutdatesSignatures(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	r := s.received(s.orders(d, listeria("A")), "S-1", "S-2")
	r = s.reports(r, found(r, "S-1", 0), found(r, "S-2", 0))
	s.must(s.proposes(d, "A", "", disposition.Release))
	s.must(s.proposes(d, "B", "", disposition.Destroy))
	s.signAll(d, signoff.Disposition)
	s.carriesOut(d)
	s.signAll(d, signoff.Execution)
	s.is(d, Verifying, false)
	n := found(r, "S-2", 1)
	n.Replaces, n.Reason = &r.Results[1].ID, "two samples were mixed up"
	if r = s.reports(r, n); r.Outcome.Decision != sampling.Reject {
		t.Fatalf("%s", r.Outcome.Reason)
	}
	if got := s.held(d); !slices.Contains(got, "A") {
		t.Errorf("released on a result that does not stand, and not held again: %v", got)
	}
	if got := s.now(d).State; got == Verifying {
		t.Errorf("the deviation is still %s", got)
	}
	n.Value = 0
	if _, err := s.ReportResults(s.ctx, s.system(), r.ID, []NewResult{n}); firstRule(err) != "not-standing" {
		t.Errorf("replaced twice: %v", err)
	}
}

// Samples of a cold spot speak for what was tagged.
func TestResultIsLimitedToWhatWasTagged(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	n := listeria("B")
	n.Reach, n.Tagged = sampling.TaggedOnly, "pallets 3 to 5, 40 kg"
	r := s.received(s.orders(d, n), "S-1", "S-2")
	r = s.reports(r, found(r, "S-1", 0), found(r, "S-2", 0))
	if r.Outcome.LimitedTo != n.Tagged {
		t.Errorf("limited to %q", r.Outcome.LimitedTo)
	}
}

func TestPromiseOfAPlan(t *testing.T) {
	t.Parallel()
	zero := 0.0
	p, err := PromiseOf(sampling.Order{Plan: sampling.Plan{N: 60, Classes: 2, Limit: &zero}})
	if err != nil {
		t.Fatal(err)
	}
	// design notes, §9: 60 clean samples still allow 4.9 % defective at 95 %.
	if p.Clean < 0.0485 || p.Clean > 0.0495 || p.Clean != p.AtMost || p.Confidence != 0.95 {
		t.Errorf("%+v", p)
	}
	for i := 1; i < len(p.Points); i++ {
		if p.Points[i].Passes > p.Points[i-1].Passes {
			t.Errorf("worse lots pass more often: %+v", p.Points)
		}
	}
}

// firstRule is the rule of a fault, or of the first of many.
func firstRule(err error) string {
	var rows fault.Rows
	if errors.As(err, &rows) {
		return rows[0].Rule
	}
	return ruleIn(err)
}
