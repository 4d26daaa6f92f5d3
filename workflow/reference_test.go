package workflow

import (
	"slices"
	"testing"

	"lastgood/workflow/instrument"
)

// heldFor returns the lots that any deviation of an instrument holds.
func (s *site) heldFor(code string) []string {
	s.Helper()
	lots := []string{}
	s.query(&lots, `select distinct l.code from hold h join deviation d using (plant_id, deviation_id)
		join instrument i using (plant_id, instrument_id) join portion p using (plant_id, portion_id)
		join lot l using (plant_id, lot_id) where i.code = $1 order by 1`, code)
	return lots
}

// deviationsOf returns the deviations of an instrument.
func (s *site) deviationsOf(code string) []Deviation {
	s.Helper()
	var list []Deviation
	s.query(&list, `select `+deviationColumns+` from deviation where instrument_id = (
		select instrument_id from instrument where code = $1) order by failed_at`, code)
	return list
}

// A check is only as good as its reference was: T-1 passes against R-1 on the
// 4th, R-1 turns out to have been in doubt then (the design notes on the procedure X02). Whatever the
// order in which this becomes known, the window of T-1 reaches back to the 2nd.
func TestCheckWithAReferenceInDoubtIsNoGoodCheck(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	reference, own := checkOf("R-1", march(5, 12, 0), 3), checkOf("T-1", march(6, 0, 0), 3)
	for name, comes := range map[string][][]instrument.Check{
		"reference fails first": {{reference}, {own}},
		"reference fails later": {{own}, {reference}},
		"both at once":          {{own, reference}},
		"reference alone":       {{reference}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := siteOn(t, svc)
			s.reads(cooked("T-1", march(3, 0, 0), 72, "earlier"), cooked("T-1", march(5, 0, 0), 72, "later"))
			s.record(against(checkOf("T-1", march(4, 0, 0), 0), "R-1"))
			for _, checks := range comes {
				s.record(checks...)
			}
			if got := s.heldFor("T-1"); !slices.Equal(got, []string{"earlier", "later"}) {
				t.Errorf("held: %v", got)
			}
			list := s.deviationsOf("T-1")
			if len(list) == 0 {
				t.Fatal("no deviation of T-1")
			}
			for _, d := range list {
				run := s.trace(d)
				if run.LastGoodAt == nil || !run.LastGoodAt.Equal(march(2, 6, 0)) {
					t.Errorf("last good check %v, want the one before the reference was in doubt", run.LastGoodAt)
				}
				s.holds(d, "earlier", "later")
			}
		})
	}
}

// Down the whole tree from one entry (design §4, the design notes on the procedure X03): T-1 was
// checked against T-2, T-2 against fails.
func TestDoubtGoesDownTheChainOfReferences(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.reads(cooked("T-1", march(2, 12, 0), 72, "earlier"), cooked("T-1", march(5, 0, 0), 72, "later"))
	s.record(against(checkOf("T-2", march(3, 0, 0), 0), "R-1"))
	s.record(against(checkOf("T-1", march(4, 0, 0), 0), "T-2"))
	if opened := s.check("R-1", march(7, 0, 0), 3); len(opened) != 3 {
		t.Errorf("%d deviations opened, want one each of R-1, T-2 and T-1", len(opened))
	}
	if got := s.heldFor("T-1"); !slices.Equal(got, []string{"earlier", "later"}) {
		t.Errorf("held: %v", got)
	}
}

// Two instruments that were checked against each other end it (cycle-safe).
func TestInstrumentsCheckedAgainstEachOther(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.reads(cooked("T-1", march(3, 0, 0), 72, "by-1"), cooked("T-2", march(3, 0, 0), 72, "by-2"))
	s.record(against(checkOf("T-1", march(4, 0, 0), 0), "T-2"), against(checkOf("T-2", march(4, 1, 0), 0), "T-1"))
	s.fails("R-1", march(5, 0, 0)) // nobody was checked against it
	if n := s.count(`select count(*) from deviation`); n != 1 {
		t.Errorf("%d deviations, want that of R-1 alone", n)
	}
	s.check("T-1", march(6, 0, 0), 3)
	if got := s.heldFor("T-2"); !slices.Equal(got, []string{"by-2"}) {
		t.Errorf("held for T-2: %v", got)
	}
	if got := s.heldFor("T-1"); !slices.Equal(got, []string{"by-1"}) {
		t.Errorf("held for T-1: %v", got)
	}
}

func TestNobodyIsTheirOwnReference(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	_, err := s.Record(s.ctx, s.sc, Happenings{Checks: []instrument.Check{against(checkOf("T-1", march(4, 0, 0), 0), "T-1")}})
	var faults *HappeningFaults
	if !asHappeningFaults(err, &faults) || faults.Checks[0].Rule != "reference-is-itself" {
		t.Errorf("%v", err)
	}
}
