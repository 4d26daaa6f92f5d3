package workflow

import (
	"testing"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/fault"
	"lastgood/workflow/trail"
)

// told returns the entries of a stream with an action.
func (s *site) told(stream, action string) []trail.Record {
	s.Helper()
	var bodies [][]byte
	s.query(&bodies, `select body from trail_entry where stream = $1 order by seq`, stream)
	var out []trail.Record
	for _, b := range bodies {
		var r trail.Record
		s.must(json.Unmarshal(b, &r))
		if r.Action == action {
			out = append(out, r)
		}
	}
	return out
}

// What is on hold and leaves all the same is recorded, and alarmed (design §8).
func TestShipmentOfHeldProductIsRecordedAndAlarmed(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	s.ships("A", "30", march(28, 12, 0)) // holds were placed on the 28th
	s.ships("B", "30", march(27, 0, 0))  // it had gone, and its record is late
	s.ships("A", "30", march(28, 12, 0)) // the same again is no news
	s.ships("A", "20", march(28, 12, 0))
	h := s.holdOf(d, "A")
	if h.MovedAt == nil || !h.MovedAt.Equal(march(28, 12, 0)) || h.Version != 3 {
		t.Errorf("moved at %v, version %d", h.MovedAt, h.Version)
	}
	rep, err := s.Report(s.ctx, s.sc, d.ID)
	s.must(err)
	if rep.Holds[0].MovedAt == nil || len(rep.Shipped) != 3 {
		t.Errorf("%+v", rep)
	}
	list := s.told("deviation/1", "hold.moved")
	if len(list) != 3 {
		t.Fatalf("%d entries", len(list))
	}
	for i, before := range []bool{false, true, false} {
		after := list[i].After.(map[string]any)
		if after["before_hold"] != before || after["consignee"] != "a customer" {
			t.Errorf("%d: %v", i, after)
		}
	}
	if n := s.count(`select count(*) from shipment`); n != 3 {
		t.Errorf("%d shipments", n)
	}
	s.gate("A", gateOnHold, gateQueued)
}

func TestShipmentOfWhatIsNotHeldAlarmsNobody(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A")
	s.ships("A", "30", march(28, 12, 0))
	if n := s.count(`select count(*) from trail_entry where convert_from(body, 'UTF8') like '%hold.moved%'`); n != 0 {
		t.Errorf("%d alarms", n)
	}
}

// The gate allows a lot, and a moment later its thermometer fails: the hold says
// that the lot may be on its way.
func TestHoldSaysWhatWasAllowedJustBefore(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A", "B")
	s.reads(cooked("T-1", march(3, 0, 0), 72, "A"), cooked("T-1", march(3, 0, 1), 72, "B"))
	s.gate("A")
	d := s.fails("T-1", march(5, 6, 0))
	if a, b := s.holdOf(d, "A"), s.holdOf(d, "B"); a.AllowedAt == nil || !a.AllowedAt.Equal(march(28, 12, 0)) || b.AllowedAt != nil {
		t.Errorf("allowed at %v and %v", a.AllowedAt, b.AllowedAt)
	}
}

// Anyone places a hold by hand; it counts when it is acknowledged.
func TestHoldByHand(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A")
	s.turns("A", "made", march(4, 0, 0))
	s.makes("made")
	h, err := s.PlaceHold(s.ctx, s.sc, "A", "", " metal in the sieve ")
	s.must(err)
	if h.Deviation != 0 || h.Cascade != 0 || h.Reason != "metal in the sieve" || *h.Quantity != "90" || h.PlacedBy != "qa-1" || h.BecauseOf != "A" {
		t.Errorf("%+v", h)
	}
	again, err := s.PlaceHold(s.ctx, s.sc, "A", "", "metal in the sieve")
	s.must(err)
	if again.ID != h.ID {
		t.Errorf("the same reason again is hold %d", again.ID)
	}
	other, err := s.PlaceHold(s.ctx, s.sc, "A", "", "the label is wrong")
	s.must(err)
	s.gate("A", gateOnHold)
	s.gate("made", gateMadeOfHeld)
	h, err = s.AcknowledgeHold(s.ctx, s.sc, h.ID, h.Version, *kg("90"))
	s.must(err)
	if h.AcknowledgedAt == nil || other.ID == h.ID || other.AcknowledgedAt != nil {
		t.Errorf("%+v %+v", h, other)
	}
	s.ships("A", "10", march(28, 12, 0))
	if n := len(s.told("hold/1", "hold.moved")); n != 1 || len(s.told("hold/1", "hold.acknowledged")) != 1 {
		t.Errorf("%d alarms", n)
	}
	for _, c := range []struct {
		lot, portion, reason, rule string
		kind                       fault.Kind
	}{{"nobody's", "", "x", "unknown-lot", fault.NotFound}, {"A", "pallet 9", "x", "unknown-portion", fault.NotFound}, {"A", "", " ", "reason-missing", fault.Invalid}} {
		if _, err := s.PlaceHold(s.ctx, s.sc, c.lot, c.portion, c.reason); !isFault(err, c.kind, c.rule) {
			t.Errorf("%+v: %v", c, err)
		}
	}
}

// A hold by hand is its own: the deviation that doubts the lot later places its
// own beside it.
func TestDeviationHoldsBesideAHoldByHand(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A")
	_, err := s.PlaceHold(s.ctx, s.sc, "A", "", "metal in the sieve")
	s.must(err)
	s.reads(cooked("T-1", march(3, 0, 0), 72, "A"))
	d := s.fails("T-1", march(5, 6, 0))
	s.holds(d, "A")
	if n := s.count(`select count(*) from hold where lifted_at is null`); n != 2 {
		t.Errorf("%d holds", n)
	}
	s.must(s.acknowledge(d, "A", "100"))
	s.is(d, Contained, true)
}

func TestTagsOfADeviationThatHoldsNothing(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	d := s.fails("T-1", march(5, 6, 0))
	if _, err := s.DeviationTags(s.ctx, s.sc, d.ID); !isFault(err, fault.NotFound, "no-holds") {
		t.Errorf("%v", err)
	}
}
