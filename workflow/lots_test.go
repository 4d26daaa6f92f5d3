package workflow

import (
	"slices"
	"testing"
	"time"

	"lastgood/policy/limit"
	"lastgood/workflow/lot"
)

// inTank says that lots stood in a vessel, one day after the other from the 3rd.
func (s *site) inTank(codes ...string) {
	s.Helper()
	yes := true
	s.added(s.AddPlaces(s.ctx, s.sc, []lot.Place{{Code: "tank", Vessel: &yes}}))
	var list []lot.Stay
	for i, c := range codes {
		to := march(3+i, 20, 0)
		list = append(list, lot.Stay{Lot: c, Location: "tank", From: march(3+i, 8, 0), To: &to})
	}
	s.added(s.AddStays(s.ctx, s.sc, list))
}

// TestVesselCarriesOver: a lot that came into a vessel after one in doubt is held
// with it and refused by the gate, until a clean-out; a stay that is recorded late
// is found by the next trace; and a late clean-out narrows the doubt and lifts no
// hold.
func TestVesselCarriesOver(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("first", "warm", "after", "later", "late")
	s.inTank("first", "warm", "after")
	s.added(s.AddCleanouts(s.ctx, s.sc, []lot.Cleanout{{Location: "tank", At: march(6, 4, 0)}}))
	to := march(6, 20, 0)
	s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "later", Location: "tank", From: march(6, 8, 0), To: &to}}))
	s.reads(cooked("T-1", march(3, 7, 0), 72, "warm"))
	d := s.fails("T-1", march(7, 6, 0))
	s.holds(d, "after", "warm")
	s.trace(d)
	s.is(d, Detected, false)
	s.gate("first")
	s.gate("later")
	s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "late", Location: "tank", From: march(4, 10, 0), To: &to}}))
	s.is(d, Detected, true)
	if got := s.asks(GateItem{Lot: "late"}); !slices.Contains(got, gateMadeOfHeld) {
		t.Errorf("gate, before the trace: %v", got)
	}
	s.trace(d)
	s.holds(d, "after", "late", "later", "warm") // late was there before and after the clean-out
	s.added(s.AddCleanouts(s.ctx, s.sc, []lot.Cleanout{{Location: "tank", At: march(4, 22, 0)}}))
	s.is(d, Detected, true)
	s.trace(d)
	s.holds(d, "after", "late", "later", "warm")
}

// TestGateLooksThroughVessels: a hold that somebody placed by hand on one lot of a
// vessel closes the gate for what came after it.
func TestGateLooksThroughVessels(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A", "B", "C")
	s.inTank("A", "B")
	s.turns("B", "C", march(5, 0, 0))
	_, err := s.PlaceHold(s.ctx, s.sc, "A", "", "a smell")
	s.must(err)
	s.gate("B", gateMadeOfHeld)
	s.gate("C", gateMadeOfHeld)
	s.added(s.AddCleanouts(s.ctx, s.sc, []lot.Cleanout{{Location: "tank", At: march(4, 6, 0)}}))
	s.gate("B")
	s.gate("C")
	s.added(s.AddCleanouts(s.ctx, s.sc, []lot.Cleanout{{Location: "tank", At: march(4, 6, 0), Withdrawn: true, Note: "it was the other tank"}}))
	s.gate("C", gateMadeOfHeld)
}

// TestCycleIsHeldAsOne: a row that would close a cycle is put aside, its lots are
// held and taint each other, until somebody rejects it; the holds stand.
func TestCycleIsHeldAsOne(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A", "B", "C")
	s.turns("A", "B", march(4, 0, 0))
	s.reads(cooked("T-1", march(3, 7, 0), 72, "B"))
	d := s.fails("T-1", march(5, 6, 0))
	s.holds(d, "B")
	s.trace(d)
	row := lot.Transformation{Event: "back", At: march(4, 5, 0), Input: "B", Output: "A"}
	c, err := s.AddTransformations(s.ctx, s.sc, []lot.Transformation{row, {Event: "on", At: march(4, 6, 0), Input: "B", Output: "C"}})
	s.must(err)
	if c.Accepted != 1 || len(c.Quarantined) != 1 || c.Quarantined[0].Index != 0 || c.Quarantined[0].Rule != "cycle" {
		t.Fatalf("%+v", c)
	}
	s.gate("A", gateOnHold, gateMadeOfHeld, gateQueued)
	s.is(d, Detected, true)
	s.trace(d)
	s.holds(d, "A", "B", "C")
	again, err := s.AddTransformations(s.ctx, s.sc, []lot.Transformation{row})
	s.must(err)
	if again.Accepted != 0 || len(again.Quarantined) != 1 || again.Quarantined[0].ID != c.Quarantined[0].ID {
		t.Errorf("again: %+v", again)
	}
	if n := s.count(`select count(*) from hold where plant_id = $1 and reason = $2`, s.sc.Plant, cycleReason); n != 2 {
		t.Errorf("%d holds for the cycle, want 2", n)
	}
	h, err := s.ResolveTransformation(s.ctx, s.sc, c.Quarantined[0].ID, TransformationRuling{Ruling: lot.Rejected, Reason: "a slip of the pen"})
	s.must(err)
	if h.Resolution == nil || h.Resolution.DecidedBy != "qa-1" || !slices.Equal(h.Lots, []string{"A", "B"}) {
		t.Errorf("%+v", h)
	}
	s.is(d, Detected, true)
}

// TestCleanoutBoundsSingleReadings: a single reading vouches to the clean-out of its
// line and no farther.
func TestCleanoutBoundsSingleReadings(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.adopts(hourly)
	r := cooked("T-1", march(3, 8, 0), 72, "warm")
	r.Location = "line"
	s.reads(r)
	for code, at := range map[string]time.Time{"before": march(3, 7, 0), "after": march(3, 9, 0), "next-run": march(3, 13, 0)} {
		s.madeAt(code, "roast", at)
	}
	d := s.fails("T-1", march(5, 6, 0))
	verdicts := func() map[string]limit.Verdict {
		m := map[string]limit.Verdict{}
		for _, a := range s.trace(d).Assessments {
			m[a.Lot] = a.Result.Verdict
		}
		return m
	}
	if v := verdicts(); v["before"] != limit.Unknown || v["after"] != limit.Unknown || v["next-run"] != limit.Unknown {
		t.Errorf("without a clean-out: %v", v) // nothing stands on the other side of any
	}
	begun := march(3, 12, 0)
	s.added(s.AddCleanouts(s.ctx, s.sc, []lot.Cleanout{{Location: "line", At: march(3, 6, 0)}, {Location: "line", From: &begun, At: march(3, 12, 30)}}))
	s.is(d, Detected, true)
	if v := verdicts(); v["before"] != limit.Indeterminate || v["after"] != limit.Indeterminate || v["next-run"] != limit.Unknown {
		t.Errorf("between two clean-outs: %v", v)
	}
}

// TestGenealogyHasQuantities: what became of a lot and what it was made of, with
// the share of each edge.
func TestGenealogyHasQuantities(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A", "B", "C")
	s.turns("A", "B", march(4, 0, 0))
	s.turns("B", "C", march(5, 0, 0))
	s.ships("C", "40", march(6, 0, 0))
	_, err := s.PlaceHold(s.ctx, s.sc, "B", "", "a smell")
	s.must(err)
	g, err := s.Genealogy(s.ctx, s.sc, "A", lot.Forward, 0)
	s.must(err)
	if len(g.Nodes) != 3 || len(g.Links) != 2 || g.Truncated || !g.Nodes[1].Held || g.Nodes[2].Shipped.String() != "40 kg" {
		t.Fatalf("%+v", g)
	}
	if l := g.Links[0]; l.From != "A" || l.To != "B" || *l.Share != "0.1" || *l.In != "10" { // 10 of 100 kg
		t.Errorf("%+v", l)
	}
	if len(g.Shipments) != 1 || g.Shipments[0].Consignee != "a customer" {
		t.Errorf("%+v", g.Shipments)
	}
	back, err := s.Genealogy(s.ctx, s.sc, "C", lot.Backward, 1)
	s.must(err)
	if len(back.Nodes) != 2 || back.Nodes[1].Lot != "B" || len(back.Shipments) != 0 || *back.Links[0].Share != "0.1" {
		t.Errorf("%+v", back)
	}
}
