package workflow

import (
	"slices"
	"testing"

	"lastgood/policy/balance"
	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/signoff"
)

// inTwoDoubts is a plant of which two thermometers, each of which read 3 °C too
// high, were both read for lot A, and the deviations of both, evaluated.
func inTwoDoubts(t *testing.T, shipped bool) (s *site, one, two Deviation) {
	s = newSite(t)
	s.employ()
	s.makes("A")
	if shipped {
		s.ships("A", "30", march(3, 9, 0))
	}
	s.reads(cooked("T-1", march(3, 1, 0), 80, "A"), cooked("T-2", march(3, 1, 30), 72, "A"))
	one, two = s.fails("T-1", march(4, 6, 0)), s.fails("T-2", march(4, 6, 30))
	s.contained(one)
	s.contained(two)
	s.evaluates(one)
	s.evaluates(two)
	return s, one, two
}

// What one deviation released while another held it, and cannot answer for any
// more, is held by it again: the release of the other does not stand for it.
func TestSafetyReleaseTakenBackUnderAnotherHold(t *testing.T) {
	t.Parallel()
	s, one, two := inTwoDoubts(t, false)
	s.must(s.proposes(one, "A", "", disposition.Release))
	s.signAll(one, signoff.Disposition)
	s.carriesOut(one)
	s.holds(one)
	s.holds(two, "A")
	s.reads(cooked("T-1", march(3, 1, 10), 60, "A")) // missed, whatever the error was
	s.trace(one)
	s.holds(one, "A")
	_, err := s.AttachEvidence(s.ctx, s.as(disposition.QualifiedPerson), two.ID, NewEvidence{Lot: "A", Kind: disposition.QualifiedEvaluation, Name: "paper", Note: "in the binder"})
	s.must(err)
	if s.now(two).RetraceDue != nil {
		s.trace(two)
	}
	if s.now(two).State == Traced {
		s.evaluates(two)
	}
	if err := s.proposes(two, "A", "", disposition.Release); err == nil {
		s.signAll(two, signoff.Disposition)
		s.carriesOut(two)
	}
	if got := s.asks(GateItem{Lot: "A"}); len(got) == 0 {
		t.Error("what missed its limit by one deviation may ship because another let it go")
	}
}

// A hold that QA lifted because the run did not doubt the lot is placed again when
// a later run does.
func TestSafetyLiftedAndDoubtedAfterAll(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.employ()
	s.makes("first", "warm", "after")
	s.inTank("first", "warm", "after")
	s.reads(cooked("T-1", march(3, 7, 0), 72, "warm"))
	d := s.fails("T-1", march(7, 6, 0))
	s.added(s.AddCleanouts(s.ctx, s.sc, []lot.Cleanout{{Location: "tank", At: march(4, 22, 0)}}))
	s.contained(d)
	r, err := s.AskToLift(s.ctx, s.as(disposition.QALead), s.holdOf(d, "after").ID, "the tank was cleaned before it came")
	s.must(err)
	s.must(s.signs(disposition.QALead, r))
	s.holds(d, "warm")
	s.gate("after")
	s.reads(cooked("T-1", march(5, 2, 0), 60, "after"))
	s.trace(d)
	s.holds(d, "after", "warm")
	s.gate("after", gateOnHold)
}

// What came back by the word of one deviation is held by every one that doubts it.
func TestSafetyBackUnderBothHolds(t *testing.T) {
	t.Parallel()
	s, one, two := inTwoDoubts(t, true)
	_, err := s.AttachEvidence(s.ctx, s.as(disposition.QualifiedPerson), two.ID, NewEvidence{Lot: "A", Kind: disposition.QualifiedEvaluation, Name: "paper", Note: "in the binder"})
	s.must(err)
	s.must(s.proposes(two, "A", "shipment S-A30", disposition.Retrieve))
	s.signAll(two, signoff.Disposition)
	s.carriesOut(two)
	var by []int
	s.query(&by, `select h.deviation_id from hold h join portion p using (plant_id, portion_id) where p.place = 'retrieved' and h.lifted_at is null order by 1`)
	if want := []int{int(one.ID), int(two.ID)}; !slices.Equal(by, want) {
		t.Errorf("what came back is held by %v, want %v", by, want)
	}
}

// What one deviation destroyed is accounted for in another that doubts it too.
func TestSafetyDestroyedByAnother(t *testing.T) {
	t.Parallel()
	s, one, two := inTwoDoubts(t, false)
	s.must(s.proposes(one, "A", "", disposition.Destroy))
	s.signAll(one, signoff.Disposition)
	s.carriesOut(one)
	s.signAll(one, signoff.Execution)
	s.is(one, Verifying, false)
	s.holds(two)
	if got := s.codes(two); slices.Contains(got, "mass_balance") || slices.Contains(got, "no_disposition") {
		list, err := s.InTheWay(s.ctx, s.sc, two.ID)
		t.Errorf("in the way of the other: %v %v", list, err)
	}
}

// A truck that leaves with what one deviation released is no doubt of that one,
// though another names it.
func TestSafetyNamedByAnother(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.employ()
	s.makes("A")
	s.reads(cooked("T-1", march(3, 1, 0), 80, "A"), cooked("T-2", march(3, 1, 30), 72, "A"))
	one := s.fails("T-1", march(4, 6, 0))
	s.contained(one)
	s.evaluates(one)
	s.must(s.proposes(one, "A", "", disposition.Release))
	s.signAll(one, signoff.Disposition)
	s.carriesOut(one)
	s.signAll(one, signoff.Execution)
	s.is(one, Verifying, false)
	s.ships("A", "40", march(28, 12, 0))
	if s.now(one).RetraceDue != nil {
		s.trace(one)
	}
	before := s.codes(one)
	two := s.fails("T-2", march(4, 6, 30))
	s.contained(two)
	s.evaluates(two)
	if s.now(one).RetraceDue != nil {
		s.trace(one)
	}
	if got := s.codes(one); !slices.Equal(before, got) {
		t.Errorf("in the way of the first: %v, and since the second %v", before, got)
	}
}

// Whoever reports what was carried out neither verifies nor witnesses it.
func TestSafetyReporterVerifies(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	s.must(s.proposes(d, "A", "", disposition.Release))
	s.must(s.proposes(d, "B", "", disposition.Destroy))
	s.signAll(d, signoff.Disposition)
	for _, c := range s.docket(d).decided {
		_, err := s.ReportExecution(s.ctx, s.as(disposition.Verifier), c.ID, NewReport{Fate: fateOf[c.Kind], Quantity: unit.Quantity{Amount: "100", Unit: "kg"}, At: s.db.Now(), Last: true})
		s.must(err)
	}
	for _, r := range s.records(d) {
		if r.Kind != signoff.Execution {
			continue
		}
		if r.Seats[0].Role == disposition.LineSupervisor {
			s.must(s.signs(disposition.LineSupervisor, r))
		}
		if err := s.signs(disposition.Verifier, r); !isFault(err, fault.Forbidden, "sod-conflict") {
			t.Errorf("%v: the verifier signs for their own report: %v", r.Subjects, err)
		}
	}
}

// One transformation stands for one portion that was reworked, not for two; nor
// does one of long before.
func TestSafetyReworkedTwice(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.makes("R")
	s.evaluates(d)
	_, err := s.SplitPortion(s.ctx, s.as(disposition.QALead), d.ID, NewPortion{Lot: "A", Label: "pallet 1", Quantity: unit.Quantity{Amount: "50", Unit: "kg"}, Pallet: "P-1"})
	s.must(err)
	for _, label := range []string{"", "pallet 1"} {
		_, err := s.Propose(s.ctx, s.as(disposition.QALead), d.ID, []Proposal{{Lot: "A", Portion: label, Disposition: disposition.Rework, Reason: "cooked again", IntoLot: "R", Because: "kill_step"}})
		s.must(err)
	}
	s.must(s.proposes(d, "B", "", disposition.Destroy))
	s.signAll(d, signoff.Disposition)
	s.carriesOut(d)
	s.added(s.AddTransformations(s.ctx, s.sc, []lot.Transformation{{Event: "again", At: s.db.Now(), Input: "A", Output: "R", InputQuantity: kg("50"), OutputQuantity: kg("50")}}))
	if s.now(d).RetraceDue != nil {
		s.trace(d)
	}
	ofA := func() []balance.Imbalance {
		c := s.docket(d)
		p, err := c.find("A", "")
		s.must(err)
		return c.balance(p.Lot).Findings
	}
	if got := ofA(); len(got) != 1 || got[0].Rule != balance.ReworkNotReceived {
		t.Errorf("50 kg of the 100 kg that were reworked went into R: %v", got)
	}
	s.added(s.AddTransformations(s.ctx, s.sc, []lot.Transformation{{Event: "and again", At: s.db.Now(), Input: "A", Output: "R", InputQuantity: kg("50"), OutputQuantity: kg("50")}}))
	if got := ofA(); len(got) != 0 {
		t.Errorf("all of it went into R: %v", got)
	}
}

// What was signed for a whole is not carried out of a part that another deviation
// left of it, and the part is not forgotten.
func TestSafetySplitByAnother(t *testing.T) {
	t.Parallel()
	s, one, two := inTwoDoubts(t, false)
	s.must(s.proposes(one, "A", "", disposition.Destroy))
	s.signAll(one, signoff.Disposition)
	s.is(one, DispositionSigned, false)
	_, err := s.SplitPortion(s.ctx, s.as(disposition.QALead), two.ID, NewPortion{Lot: "A", Label: "pallet 1", Quantity: unit.Quantity{Amount: "40", Unit: "kg"}, Pallet: "P-1"})
	s.must(err)
	s.is(one, Evaluating, false)
	c := s.docket(one)
	i := slices.IndexFunc(c.decided, func(x decision.Decision) bool { return x.Standing() })
	_, err = s.ReportExecution(s.ctx, s.as(disposition.LineSupervisor), c.decided[i].ID, NewReport{Fate: "destroyed", Quantity: unit.Quantity{Amount: "60", Unit: "kg"}, At: s.db.Now(), Last: true})
	if !isFault(err, fault.Refused, "missing-signature") {
		t.Errorf("60 kg are destroyed, and 100 kg were signed for: %v", err)
	}
}

// What one deviation reworked, and another doubts from then on, is counted once:
// what is left of the lot is all that is left of it.
func TestSafetyReworkedByAnother(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.employ()
	s.makes("A", "R")
	s.reads(cooked("T-1", march(3, 1, 0), 80, "A"), cooked("T-2", march(3, 1, 30), 72, "A"))
	one := s.fails("T-1", march(4, 6, 0))
	s.contained(one)
	s.evaluates(one)
	_, err := s.SplitPortion(s.ctx, s.as(disposition.QALead), one.ID, NewPortion{Lot: "A", Label: "pallet 1", Quantity: unit.Quantity{Amount: "40", Unit: "kg"}, Pallet: "P-1"})
	s.must(err)
	s.must(s.proposes(one, "A", "", disposition.Release))
	s.must(s.proposes(one, "A", "pallet 1", disposition.Rework))
	s.signAll(one, signoff.Disposition)
	s.carriesOut(one)
	s.added(s.AddTransformations(s.ctx, s.sc, []lot.Transformation{{Event: "again", At: s.db.Now(), Input: "A", Output: "R", InputQuantity: kg("40"), OutputQuantity: kg("40")}}))
	two := s.fails("T-2", march(4, 6, 30))
	s.contained(two)
	c := s.docket(two)
	p, err := c.find("A", "")
	s.must(err)
	if q := c.quantity(p); q == nil || q.Amount != "60" {
		t.Errorf("left of A: %v, want 60 kg", q)
	}
}
