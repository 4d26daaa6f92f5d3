package workflow

import (
	"testing"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
)

func TestFailedCheckOpensAndHolds(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("before", "within", "made-of-it", "gone", "after")
	s.reads(
		cooked("T-1", march(2, 5, 0), 72, "before"),
		cooked("T-1", march(2, 7, 0), 72, "within"),
		cooked("T-1", march(3, 7, 0), 72, "gone"),
		cooked("T-2", march(3, 8, 0), 72, "after"))
	s.turns("within", "made-of-it", march(4, 0, 0))
	s.ships("gone", "100", march(4, 0, 0))
	d := s.fails("T-1", march(5, 6, 0))
	s.is(d, Detected, true)
	s.holds(d, "within", "made-of-it")
	if n := s.count(`select count(*) from deviation_lot`); n != 3 {
		t.Errorf("%d lots in doubt, want 3: what has gone is in doubt too", n)
	}
	if n := s.count(`select count(*) from instrument where state = 'suspended' and code = 'T-1'`); n != 1 {
		t.Error("the instrument is still trusted")
	}
}

func TestWindowEndsAreTheCheckAndTheRemoval(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	good, removed := march(2, 6, 0), march(5, 9, 0)
	s.reads( // (last good check, removal]: the design notes on errors and design §4
		cooked("T-1", good, 72, "at-good"),
		cooked("T-1", good.Add(time.Microsecond), 72, "just-after"),
		cooked("T-1", removed, 72, "at-removal"))
	d := s.fails("T-1", march(5, 6, 0))
	s.happens("T-1", removed, instrument.RemovedFromUse)
	s.holds(d, "just-after", "at-removal")
	if run := s.trace(d); run.Until == nil || !run.Until.Equal(removed) || len(run.Assessments) != 2 {
		t.Errorf("until %v, %d assessments", run.Until, len(run.Assessments))
	}
}

// A reading after the removal says that it was not removed: whatever was read
// before the next clear pass is in doubt too.
func TestReadingAfterTheRemovalKeepsTheWindowOpen(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	removed := march(5, 9, 0)
	s.reads(cooked("T-1", march(4, 0, 0), 72, "before"))
	d := s.fails("T-1", march(5, 6, 0))
	s.happens("T-1", removed, instrument.RemovedFromUse)
	s.trace(d)
	s.reads(cooked("T-1", removed.Add(time.Microsecond), 72, "after"))
	if s.count(`select count(*) from deviation where retrace_due is not null`) != 1 {
		t.Error("the late reading makes no new run due")
	}
	run := s.trace(d)
	s.holds(d, "before", "after")
	if run.Until != nil || len(run.Assessments) != 2 || len(run.Notes) == 0 {
		t.Errorf("until %v, %d assessments, notes %q", run.Until, len(run.Assessments), run.Notes)
	}
}

func TestLotAcrossTheEdgeIsHeldOnlyForAReadingInside(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	good := march(2, 6, 0)
	s.reads(
		cooked("T-1", good.Add(-time.Hour), 72, "outside-only"), cooked("T-1", march(12, 0, 0), 72, "outside-only"), // after it passed again
		cooked("T-1", good.Add(-time.Hour), 72, "across"), cooked("T-1", march(4, 0, 0), 72, "across"))
	s.happens("T-1", march(6, 0, 0), instrument.RemovedFromUse)
	s.record(checkOf("T-1", march(11, 0, 0), 0))
	s.holds(s.fails("T-1", march(5, 6, 0)), "across")
}

// Everything here opens a deviation as a failure does (design §8).
func TestWhatOpens(t *testing.T) {
	t.Parallel()
	at := march(5, 6, 0)
	unusable := instrument.Check{Instrument: "T-1", PerformedAt: at, PerformedBy: "tech-1", Unusable: true}
	left := adjusted(checkOf("T-1", at, 3))
	badlyLeft := checkOf("T-1", at, 0.5)
	badlyLeft.Points[1].Left = micro(77)
	svc, _ := openService(t)
	for name, c := range map[string]struct {
		policy string
		did    Happenings
		opens  int
	}{
		"failed":               {"", Happenings{Checks: []instrument.Check{checkOf("T-1", at, 1.1)}}, 1},
		"at tolerance":         {"", Happenings{Checks: []instrument.Check{checkOf("T-1", at, 1)}}, 0},
		"inconclusive":         {housePolicy + "decision_rule: guarded\n", Happenings{Checks: []instrument.Check{checkOf("T-1", at, 0.9)}}, 1},
		"guarded and clear":    {housePolicy + "decision_rule: guarded\n", Happenings{Checks: []instrument.Check{checkOf("T-1", at, 0.2)}}, 0},
		"unusable":             {"", Happenings{Checks: []instrument.Check{unusable}}, 1},
		"failed and put right": {"", Happenings{Checks: []instrument.Check{left}}, 1},
		"put wrong":            {"", Happenings{Checks: []instrument.Check{badlyLeft}}, 1},
		"adjusted, no as-found": {"", Happenings{Events: []instrument.Event{
			{Instrument: "T-1", At: at, Kind: instrument.Adjusted}}}, 1},
		"adjusted an hour after a check": {"", Happenings{
			Checks: []instrument.Check{checkOf("T-1", at.Add(-time.Hour), 0.5)},
			Events: []instrument.Event{{Instrument: "T-1", At: at, Kind: instrument.Adjusted}}}, 0},
		"adjusted later than that": {"", Happenings{
			Checks: []instrument.Check{checkOf("T-1", at.Add(-time.Hour-time.Second), 0.5)},
			Events: []instrument.Event{{Instrument: "T-1", At: at, Kind: instrument.Adjusted}}}, 1},
		"adjusted while out of use": {"", Happenings{Events: []instrument.Event{
			{Instrument: "T-1", At: at.Add(-20 * time.Minute), Kind: instrument.RemovedFromUse},
			{Instrument: "T-1", At: at, Kind: instrument.Repaired}}}, 1},
		"adjusted while out of use, after a check": {"", Happenings{
			Checks: []instrument.Check{checkOf("T-1", at.Add(-5*time.Hour), 0.5)},
			Events: []instrument.Event{
				{Instrument: "T-1", At: at.Add(-10 * time.Hour), Kind: instrument.RemovedFromUse},
				{Instrument: "T-1", At: at, Kind: instrument.Repaired}}}, 0},
		"checked, taken out of use, and repaired a day later": {"", Happenings{
			Checks: []instrument.Check{checkOf("T-1", at.Add(-25*time.Hour), 0.5)},
			Events: []instrument.Event{
				{Instrument: "T-1", At: at.Add(-24 * time.Hour), Kind: instrument.RemovedFromUse},
				{Instrument: "T-1", At: at, Kind: instrument.Repaired}}}, 0},
		"dropped": {"", Happenings{Events: []instrument.Event{{Instrument: "T-1", At: at, Kind: instrument.Dropped}}}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := siteOn(t, svc)
			s.reads(cooked("T-1", at.Add(-30*time.Minute), 72, "L-1"))
			if c.policy != "" {
				s.adopts(c.policy)
			}
			opened, err := s.Record(s.ctx, s.sc, c.did)
			s.must(err)
			if len(opened) != c.opens {
				t.Fatalf("%d deviations opened, want %d", len(opened), c.opens)
			}
			if c.opens > 0 {
				s.holds(opened[0], "L-1")
			}
		})
	}
}

func TestBadHappeningsLeaveNothing(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	before := s.everything()
	bad := checkOf("T-9", march(5, 6, 0), 3)
	_, err := s.Record(s.ctx, s.sc, Happenings{
		Events: []instrument.Event{{Instrument: "T-1", At: march(5, 0, 0), Kind: instrument.Dropped}},
		Checks: []instrument.Check{checkOf("T-1", march(5, 6, 0), 3), bad}})
	var faults *HappeningFaults
	if !asHappeningFaults(err, &faults) || len(faults.Checks) != 1 || faults.Checks[0].Index != 1 ||
		faults.Checks[0].Rule != "unknown-instrument" {
		t.Fatalf("%v", err)
	}
	if err := s.Review(s.ctx, s.sc, Happenings{Checks: []instrument.Check{checkOf("T-1", march(5, 6, 0), 3)}}); err != nil {
		t.Errorf("review: %v", err)
	}
	if after := s.everything(); after != before {
		t.Errorf("rows before %s, after %s", before, after)
	}
}

func TestAnotherCheckAtTheSameTimeIsAConflict(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	d := s.fails("T-1", march(5, 6, 0))
	_, err := s.Record(s.ctx, s.sc, Happenings{Checks: []instrument.Check{checkOf("T-1", march(5, 6, 0), 0)}})
	var faults *HappeningFaults
	if !asHappeningFaults(err, &faults) || len(faults.Checks) != 1 || faults.Checks[0].Kind != fault.Conflict {
		t.Fatalf("%v", err)
	}
	// The same instant, written with another offset, is the same check.
	zone := time.FixedZone("", -5*3600)
	if again := s.check("T-1", march(5, 6, 0).In(zone), 3); len(again) != 0 {
		t.Errorf("the same check opened %v beside %d", again, d.ID)
	}
}
