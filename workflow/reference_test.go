package workflow

import (
	"slices"
	"strings"
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
// order in which this becomes known, once somebody has confirmed the tree the
// window of T-1 reaches back to the 2nd; and what that puts in doubt is held
// before anybody does.
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
			if got := s.heldNow(); !slices.Equal(got, []string{"earlier", "later"}) {
				t.Errorf("held before anybody confirms it: %v", got)
			}
			s.confirmAll()
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
	if opened := s.check("R-1", march(7, 0, 0), 3); len(opened) != 1 {
		t.Errorf("%d deviations opened, want that of R-1 alone", len(opened))
	}
	f := s.tree(s.pending()[0])
	if f.Instruments != 2 || f.Checks != 2 || f.Windows != 2 || f.Lots != 2 {
		t.Errorf("%+v", f)
	}
	if len(f.Below) != 1 || f.Below[0].Instrument != "T-2" || len(f.Below[0].Below) != 1 || f.Below[0].Below[0].Instrument != "T-1" {
		t.Errorf("the tree is not R-1, T-2, T-1: %+v", f)
	}
	s.confirmAll()
	if n := len(s.deviationsOf("T-1")) + len(s.deviationsOf("T-2")); n != 2 {
		t.Errorf("%d deviations below R-1, want one each of T-2 and T-1", n)
	}
	if got := s.heldFor("T-1"); !slices.Equal(got, []string{"earlier", "later"}) {
		t.Errorf("held: %v", got)
	}
}

// Two instruments that vouch for each other vouch for nothing: the later check is
// refused, with the way on which it hangs on itself.
func TestInstrumentsThatVouchForEachOtherAreRefused(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.record(against(checkOf("T-2", march(4, 0, 0), 0), "R-1"))
	s.record(against(checkOf("T-1", march(4, 1, 0), 0), "T-2"))
	refused := func(c instrument.Check, way string) {
		t.Helper()
		_, err := s.Record(s.ctx, s.sc, Happenings{Checks: []instrument.Check{checkOf("T-1", march(3, 0, 0), 0), c}})
		var faults *HappeningFaults
		if !asHappeningFaults(err, &faults) || faults.Checks[0].Rule != "reference-cycle" || faults.Checks[0].Index != 1 {
			t.Fatalf("%v", err)
		}
		if !strings.Contains(err.Error(), way) {
			t.Errorf("%v: want %s", err, way)
		}
	}
	refused(against(checkOf("R-1", march(4, 2, 0), 0), "T-1"), "T-1 (checked 2025-03-04T01:00:00Z) hangs on T-2 (checked 2025-03-04T00:00:00Z), that on R-1")
	refused(against(checkOf("T-2", march(4, 1, 0), 0), "T-1"), "T-1 (checked 2025-03-04T01:00:00Z) hangs on T-2")
	s.check("T-1", march(5, 0, 0), 0) // on its own: no way leads back any more
	s.record(against(checkOf("R-1", march(5, 1, 0), 0), "T-1"))
}

// Facts that came to be known in another order may form a ring all the same: the
// tree ends (cycle-safe).
func TestInstrumentsCheckedAgainstEachOther(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.reads(cooked("T-1", march(3, 0, 0), 72, "by-1"), cooked("T-2", march(3, 0, 0), 72, "by-2"))
	s.record(against(checkOf("T-2", march(4, 1, 0), 0), "T-1"))
	s.record(against(checkOf("T-1", march(4, 0, 0), 0), "T-2"))
	s.fails("R-1", march(5, 0, 0)) // nobody was checked against it
	if n := s.count(`select count(*) from deviation`) + s.count(`select count(*) from cascade`); n != 1 {
		t.Errorf("%d deviations and cascades, want the deviation of R-1 alone", n)
	}
	s.check("T-1", march(6, 0, 0), 3)
	s.confirmAll()
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
