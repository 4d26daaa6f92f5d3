package workflow

import (
	"slices"
	"testing"

	"lastgood/policy/disposition"
	"lastgood/policy/limit"
	"lastgood/workflow/decision"
	"lastgood/workflow/lot"
	"lastgood/workflow/signoff"
)

// A recall that was signed no, and a portion that is to be retrieved, stand in the
// way of closing together; a recall that was signed yes does not.
func TestRetrievalAgainstASignedNoContradicts(t *testing.T) {
	t.Parallel()
	s, d := shippedLot(t)
	s.decides(d, RecallPack{Reason: "all of it is cooked again before it is eaten"})
	if slices.Contains(s.codes(d), "decisions_contradict") {
		t.Error("nothing is decided of what has left, and it contradicts")
	}
	s.must(s.proposes(d, "B", "shipment S-1", disposition.Retrieve))
	if !slices.Contains(s.codes(d), "decisions_contradict") {
		t.Errorf("in the way: %v", s.codes(d))
	}
	_, err := s.DrawUpRecall(s.ctx, s.as(disposition.RegulatoryLiaison), d.ID, thePack())
	s.must(err)
	if slices.Contains(s.codes(d), "decisions_contradict") {
		t.Error("a pack that waits for signatures contradicts nothing")
	}
	s.signAll(d, signoff.Recall)
	s.recallIs(d, RecallDecided)
	if slices.Contains(s.codes(d), "decisions_contradict") {
		t.Error("retrieving is what was signed")
	}
}

// Which decision contradicts which recall, by where the portion is and what was
// found of its lot.
func TestWhatContradictsARecall(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		recall  State
		kind    disposition.Disposition
		place   lot.Whereabouts
		verdict limit.Verdict
		state   decision.State
		want    bool
	}{
		{RecallDecided, disposition.Release, lot.OnTheRoad, limit.Missed, decision.Proposed, true},
		{RecallTerminated, disposition.Release, lot.OnTheRoad, limit.Unknown, decision.Executed, true},
		{RecallDecided, disposition.Release, lot.OnTheRoad, limit.Met, decision.Proposed, false},
		{RecallDecided, disposition.Release, lot.InControl, limit.Missed, decision.Proposed, false},
		{RecallDecided, disposition.Release, lot.OnTheRoad, limit.Missed, decision.Withdrawn, false},
		{RecallDecided, disposition.Retrieve, lot.OnTheRoad, limit.Missed, decision.Proposed, false},
		{RecallDecidedNot, disposition.Retrieve, lot.OnTheRoad, limit.Missed, decision.Executed, true},
		{RecallDecidedNot, disposition.Retrieve, lot.OnTheRoad, limit.Missed, decision.Overtaken, false},
		{RecallDecidedNot, disposition.Release, lot.OnTheRoad, limit.Missed, decision.Proposed, false},
		{RecallDeciding, disposition.Release, lot.OnTheRoad, limit.Missed, decision.Proposed, false},
		{RecallNotNeeded, disposition.Retrieve, lot.OnTheRoad, limit.Missed, decision.Proposed, false},
	} {
		d := &docket{findings: []Finding{{LotID: 1, Lot: "B", Verdict: c.verdict}},
			portions: []lot.Portion{{ID: 1, Lot: 1, LotCode: "B", Label: "shipment S-1", Place: c.place}},
			decided:  []decision.Decision{{ID: 1, Portion: 1, Kind: c.kind, State: c.state}}}
		got := d.contradictions(c.recall)
		if (len(got) == 1) != c.want || len(got) == 1 && got[0].Code != "decisions_contradict" {
			t.Errorf("%+v: %v", c, got)
		}
	}
}
