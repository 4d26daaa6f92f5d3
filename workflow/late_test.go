package workflow

import (
	"slices"
	"testing"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/reading"
)

// caughtUp opens a deviation of T-1 over lots "hot" and "warm" and traces it, so
// that it is due for nothing.
func caughtUp(t *testing.T, svc *Service) (*site, Deviation) {
	t.Helper()
	s := siteOn(t, svc)
	s.makes("hot", "warm")
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "cooler", From: march(3, 0, 0)}}))
	s.reads(cooked("T-1", march(3, 7, 0), 80, "hot"), cooked("T-1", march(3, 8, 0), 72, "warm"))
	d := s.fails("T-1", march(5, 6, 0))
	s.holds(d, "hot", "warm")
	s.trace(d)
	s.is(d, Detected, false)
	return s, d
}

// Whatever is recorded after the opening and concerns the deviation makes it due
// for another run in its own transaction, and that run holds what is newly in
// doubt (design §6, §14).
func TestLateEvidenceIsTracedAgain(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	later := march(20, 0, 0)
	room := reading.Reading{Instrument: "T-1", TakenAt: march(4, 0, 0), Value: 4, Unit: unit.CelsiusScale, Location: "tank"}
	for name, c := range map[string]struct {
		comes func(*site, Deviation)
		due   bool
		holds []string // besides hot and warm
	}{
		"reading in the window":                       {func(s *site, d Deviation) { s.reads(cooked("T-1", march(4, 0, 0), 72, "late")) }, true, []string{"late"}},
		"reading before the window":                   {func(s *site, d Deviation) { s.reads(cooked("T-1", march(2, 5, 0), 72, "late")) }, false, nil},
		"reading by another instrument":               {func(s *site, d Deviation) { s.reads(cooked("T-2", march(4, 0, 0), 72, "late")) }, false, nil},
		"reading before the window of a lot in doubt": {func(s *site, d Deviation) { s.reads(cooked("T-1", march(2, 5, 0), 72, "hot")) }, true, nil},
		"reading for a limit that the instrument did not serve": {func(s *site, d Deviation) {
			r := cooked("T-1", march(2, 5, 0), 4, "late")
			r.Limit = "chill"
			s.reads(r)
		}, true, nil},
		"stay where it hangs": {func(s *site, d Deviation) {
			s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "late", Location: "cooler", From: march(4, 0, 0), To: &later}}))
		}, true, []string{"late"}},
		"stay elsewhere": {func(s *site, d Deviation) {
			s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "late", Location: "store", From: march(4, 0, 0), To: &later}}))
		}, false, nil},
		"stay where it read": {func(s *site, d Deviation) {
			s.reads(room)
			s.trace(d)
			s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "late", Location: "tank", From: march(4, 0, 0), To: &later}}))
		}, true, []string{"late"}},
		"mounting where a lot was": {func(s *site, d Deviation) {
			s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "late", Location: "store", From: march(4, 0, 0), To: &later}}))
			s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "store", From: march(4, 0, 0)}}))
		}, true, []string{"late"}},
		"mounting of another instrument": {func(s *site, d Deviation) {
			s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-2", Location: "store", From: march(4, 0, 0)}}))
		}, false, nil},
		"use in another lot": {func(s *site, d Deviation) { s.turns("hot", "late", march(6, 0, 0)) }, true, []string{"late"}},
		"use two steps on": {func(s *site, d Deviation) {
			s.turns("hot", "between", march(6, 0, 0))
			s.trace(d)
			s.turns("between", "late", march(7, 0, 0))
		}, true, []string{"between", "late"}},
		"use of another lot":      {func(s *site, d Deviation) { s.turns("cold", "late", march(6, 0, 0)) }, false, nil},
		"shipment":                {func(s *site, d Deviation) { s.ships("warm", "40", march(6, 0, 0)) }, true, nil},
		"shipment of another lot": {func(s *site, d Deviation) { s.ships("cold", "40", march(6, 0, 0)) }, false, nil},
		"registration of a lot in doubt": {func(s *site, d Deviation) {
			s.reads(cooked("T-1", march(4, 0, 0), 72, "late"))
			s.trace(d)
			s.makes("late")
		}, true, []string{"late"}},
		"registration of another lot": {func(s *site, d Deviation) { s.makes("late") }, false, nil},
		"what a lot in doubt is a lot of": {func(s *site, d Deviation) {
			yes := true
			s.added(s.AddProducts(s.ctx, s.sc, []lot.Product{{Code: "roast", Name: "cold roast", ReadyToEat: &yes}}))
		}, true, nil},
		"what another lot is a lot of": {func(s *site, d Deviation) {
			s.added(s.AddProducts(s.ctx, s.sc, []lot.Product{{Code: "soup", Name: "soup"}}))
		}, false, nil},
		"event of the instrument":     {func(s *site, d Deviation) { s.happens("T-1", march(4, 0, 0), instrument.Dropped) }, true, nil},
		"event of another instrument": {func(s *site, d Deviation) { s.happens("T-2", march(4, 0, 0), instrument.Dropped) }, false, nil},
		"a check before":              {func(s *site, d Deviation) { s.check("T-1", march(3, 0, 0), 0.4) }, true, nil},
		"a check again":               {func(s *site, d Deviation) { s.check("T-1", march(5, 6, 0), 3) }, false, nil},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, d := caughtUp(t, svc)
			c.comes(s, d)
			s.is(d, Detected, c.due)
			s.trace(d)
			s.is(d, Detected, false)
			s.holds(d, append([]string{"hot", "warm"}, c.holds...)...)
		})
	}
}

func TestEventAgainIsNothingNew(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	s, d := caughtUp(t, svc)
	s.happens("T-1", march(4, 0, 0), instrument.Dropped)
	s.trace(d)
	before := s.everything()
	s.happens("T-1", march(4, 0, 0), instrument.Dropped)
	s.is(d, Detected, false)
	if after := s.everything(); after != before {
		t.Errorf("rows before %s, after %s", before, after)
	}
}

func TestEventsStandInTheTrail(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.happens("T-1", march(4, 0, 0), instrument.Moved)
	n := s.count(`select count(*) from trail_entry where stream = 'instrument/T-1' and convert_from(body, 'UTF8') like '%event.recorded%moved%'`)
	if n != 1 {
		t.Errorf("%d entries of the trail tell of the event, want 1", n)
	}
}

// A check that fails while a deviation is open belongs to it; after a clear
// pass, the next failure is another deviation.
func TestRepeatJoinsAndPassEnds(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	d := s.fails("T-1", march(5, 6, 0))
	if more := s.check("T-1", march(5, 7, 0), 2.5); len(more) != 0 {
		t.Fatalf("a repeat opened another deviation: %v", more)
	}
	s.is(d, Contained, true)
	s.reads(cooked("T-1", march(6, 0, 0), 72, "before-pass"), cooked("T-1", march(8, 0, 0), 72, "after-pass"))
	s.trace(d)
	s.holds(d, "before-pass", "after-pass")
	s.check("T-1", march(7, 0, 0), 0.1)
	run := s.trace(d)
	if run.Until == nil || !run.Until.Equal(march(7, 0, 0)) {
		t.Errorf("the window ends at %v, want the clear pass", run.Until)
	}
	if len(run.Assessments) != 1 || run.Assessments[0].Lot != "before-pass" {
		t.Errorf("assessments: %v", lotsOf(run))
	}
	next := s.fails("T-1", march(9, 0, 0))
	s.holds(next, "after-pass")
	if next.ID == d.ID {
		t.Error("the next failure joined the old deviation")
	}
}

func TestReturnWithoutAPassKeepsTheWindowOpen(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	d := s.fails("T-1", march(5, 6, 0))
	s.happens("T-1", march(5, 7, 0), instrument.RemovedFromUse)
	s.happens("T-1", march(6, 0, 0), instrument.ReturnedToUse)
	s.reads(cooked("T-1", march(7, 0, 0), 72, "after-return"))
	if run := s.trace(d); run.Until != nil {
		t.Errorf("the window ends at %v, though nobody saw it good", run.Until)
	}
	s.holds(d, "after-return")
	s.check("T-1", march(8, 0, 0), 0)
	s.reads(cooked("T-1", march(9, 0, 0), 72, "after-pass"))
	s.trace(d)
	s.holds(d, "after-return")
}

func TestReturnAfterAPassDoesNot(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	d := s.fails("T-1", march(5, 6, 0))
	s.happens("T-1", march(5, 7, 0), instrument.RemovedFromUse)
	s.record(adjusted(checkOf("T-1", march(5, 12, 0), 3)))
	s.happens("T-1", march(6, 0, 0), instrument.ReturnedToUse)
	s.reads(cooked("T-1", march(7, 0, 0), 72, "after-return"))
	run := s.trace(d)
	if run.Until == nil || !run.Until.Equal(march(5, 7, 0)) {
		t.Errorf("the window ends at %v, want the removal", run.Until)
	}
	s.holds(d)
}

func lotsOf(r Run) []string {
	var lots []string
	for _, a := range r.Assessments {
		lots = append(lots, a.Lot)
	}
	return slices.Compact(lots)
}
