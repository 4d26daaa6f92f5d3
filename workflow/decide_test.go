package workflow

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/signoff"
)

// twoLots is a plant whose thermometer read 3 °C too high over lot A, which the
// correction leaves above its limit, and lot B, which it leaves in doubt.
func twoLots(t *testing.T) (*site, Deviation) {
	s := newSite(t)
	s.employ()
	s.makes("A", "B")
	s.reads(cooked("T-1", march(3, 1, 0), 80, "A"), cooked("T-1", march(3, 2, 0), 72, "B"))
	d := s.fails("T-1", march(4, 6, 0))
	s.contained(d)
	return s, d
}

// The whole way: what met its limit is released, what may have missed it is
// destroyed before a witness, and the deviation waits for nothing that was decided.
func TestFromTracedToVerifying(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	err := s.proposes(d, "B", "", disposition.Release)
	var rows fault.Rows
	if !errors.As(err, &rows) || rows[0].Rule != "disposition-not-allowed" {
		t.Errorf("release of what may have missed: %v", err)
	}
	s.must(s.proposes(d, "A", "", disposition.Release))
	s.is(d, Evaluating, false)
	s.must(s.proposes(d, "B", "", disposition.Destroy))
	s.is(d, DispositionProposed, false)
	s.signAll(d, signoff.Disposition)
	s.is(d, DispositionSigned, false)
	s.gate("A", "on-hold")
	s.carriesOut(d)
	s.is(d, Executing, false)
	s.signAll(d, signoff.Execution)
	s.is(d, Verifying, false)
	s.gate("A")
	s.gate("B", "not-free", "nothing-left")
	left, err := s.InTheWay(s.ctx, s.sc, d.ID)
	s.must(err)
	for _, r := range left { // the review of the records is still to be signed, and nothing of what was decided
		if r.Code == "open_hold" || r.Code == "mass_balance" || r.Code == "missing_signature" && !strings.HasSuffix(r.Link, "/review") {
			t.Errorf("in the way: %v", r)
		}
	}
}

// Late evidence that changes the verdict of one lot asks again for that lot only.
func TestOnlyWhatChangedIsSignedAgain(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	s.must(s.proposes(d, "A", "", disposition.Destroy))
	s.must(s.proposes(d, "B", "", disposition.Destroy))
	s.signAll(d, signoff.Disposition)
	s.is(d, DispositionSigned, false)
	s.reads(cooked("T-1", march(3, 1, 30), 60, "A")) // missed, whatever the error was
	s.trace(d)
	s.is(d, Traced, false)
	s.evaluates(d)
	s.is(d, DispositionProposed, false)
	var open []string
	for _, r := range s.records(d) {
		if !r.Complete() {
			open = append(open, r.Subjects...)
		}
	}
	if diff := cmp.Diff([]string{"A"}, open); diff != "" {
		t.Errorf("to be signed again (-want +got):\n%s", diff)
	}
}

// A portion that was named out of a lot goes its own way.
func TestPortionsGoTheirOwnWays(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	_, err := s.SplitPortion(s.ctx, s.as(disposition.QALead), d.ID, NewPortion{Lot: "A", Label: "pallet 1", Quantity: unit.Quantity{Amount: "40", Unit: "kg"}, Pallet: "P-1"})
	s.must(err)
	s.must(s.proposes(d, "A", "pallet 1", disposition.Destroy))
	s.must(s.proposes(d, "A", "", disposition.Release))
	s.must(s.proposes(d, "B", "", disposition.Destroy))
	s.signAll(d, signoff.Disposition)
	s.carriesOut(d)
	s.signAll(d, signoff.Execution)
	s.is(d, Verifying, false)
	if got := s.asks(GateItem{Lot: "A", Portion: "pallet 1"}); len(got) == 0 {
		t.Error("what was destroyed may ship")
	}
	if got := s.asks(GateItem{Lot: "A", Quantity: &unit.Quantity{Amount: "61", Unit: "kg"}}); len(got) == 0 {
		t.Error("more may ship than was released")
	}
	if left := s.codes(d); slices.Contains(left, "mass_balance") {
		t.Errorf("in the way: %v", left)
	}
}
