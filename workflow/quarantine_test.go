package workflow

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/reading"
	"lastgood/workflow/trail"
)

// mixedUp is a reading of 71.2 °C that was sent as °F, where the cook step is at
// 71 °C (design notes on the procedure, X19).
func mixedUp(code string, at time.Time, lotCode string) reading.Reading {
	r := cooked(code, at, 71.2, lotCode)
	r.Unit = unit.FahrenheitScale
	return r
}

// quarantined fails unless there are n readings in quarantine on which nobody has
// decided, and returns them.
func (s *site) quarantined(n int) []reading.Held {
	s.Helper()
	list, err := s.Quarantine(s.ctx, s.sc, "", true, 0, 100)
	s.must(err)
	if len(list) != n {
		s.Fatalf("%d readings are in quarantine, want %d", len(list), n)
	}
	return list
}

// resolves decides on a reading in quarantine.
func (s *site) resolves(id int64, d reading.Decision) reading.Held {
	s.Helper()
	h, err := s.ResolveReading(s.ctx, s.sc, id, Ruling{d, "the chart says so", "qa-1"})
	s.must(err)
	return h
}

// verdictOf returns what a run says of a lot.
func verdictOf(t tb, r Run, lotCode string) limit.Result {
	t.Helper()
	for _, a := range r.Assessments {
		if a.Lot == lotCode {
			return a.Result
		}
	}
	t.Fatalf("the run says nothing of lot %s: %+v", lotCode, r.Assessments)
	return limit.Result{}
}

// A reading in quarantine is a gap: its lot is held and unknown, and says why.
// Without it the lot would be met on its other readings.
func TestQuarantinedReadingIsAGap(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A", "B")
	s.reads(cooked("T-1", march(3, 7, 0), 80, "A"), mixedUp("T-1", march(3, 7, 5), "A"), cooked("T-1", march(3, 8, 0), 80, "B"))
	s.quarantined(1)
	d := s.fails("T-1", march(5, 6, 0))
	s.holds(d, "A", "B")
	run := s.trace(d)
	if b := verdictOf(t, run, "B"); b.Verdict != limit.Met {
		t.Errorf("B is %s, want met: 80 °C less an error of 3 °C", b.Verdict)
	}
	a := verdictOf(t, run, "A")
	if a.Verdict != limit.Unknown || a.Readings != 2 {
		t.Errorf("A is %s with %d readings, want unknown with 2", a.Verdict, a.Readings)
	}
	if all := strings.Join(a.Reasons, "\n"); !strings.Contains(all, "1 in quarantine") || !strings.Contains(all, "71.2 F") || !strings.Contains(all, "71.2 C") {
		t.Errorf("the reasons do not name both readings of 71.2: %s", all)
	}
	basis, err := s.Basis(s.ctx, s.sc, d.ID, "A", "cook")
	s.must(err)
	if !basis.SameEvidence || len(basis.Readings) != 2 || basis.Readings[1].Void == "" || basis.Readings[1].Value != 71.2 || basis.Readings[0].Void != "" {
		t.Errorf("the basis: %v, %+v", basis.SameEvidence, basis.Readings)
	}
}

// A lot that nothing but a quarantined reading names is in doubt too, at the
// window's edges as within it.
func TestLotOfOnlyAQuarantinedReadingIsHeld(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A", "edge", "before")
	s.reads(mixedUp("T-1", march(3, 7, 0), "A"))
	s.reads(cooked("T-1", march(2, 5, 0), 80, "edge"), mixedUp("T-1", march(3, 7, 0), "edge"),
		cooked("T-1", march(2, 4, 0), 80, "before"), mixedUp("T-1", march(2, 5, 0), "before"))
	d := s.fails("T-1", march(5, 6, 0))
	s.holds(d, "A", "edge")
	run := s.trace(d)
	for _, code := range []string{"A", "edge"} {
		if r := verdictOf(t, run, code); r.Verdict != limit.Unknown {
			t.Errorf("%s is %s, want unknown", code, r.Verdict)
		}
	}
}

// Late readings that go into quarantine make a deviation due as others do; what a
// person decides on them makes it due again, and the digest of the evidence tells
// each step from the next.
func TestQuarantineAndDecisionsAreTracedAgain(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	s, d := caughtUp(t, svc)
	digests := [][]byte{s.trace(d).InputDigest}
	traced := func(verdict limit.Verdict) {
		t.Helper()
		s.is(d, Detected, true)
		run := s.trace(d)
		if r := verdictOf(t, run, "hot"); r.Verdict != verdict {
			t.Errorf("hot is %s, want %s", r.Verdict, verdict)
		}
		for _, before := range digests {
			if bytes.Equal(before, run.InputDigest) {
				t.Error("the digest does not tell this evidence from that of a run before")
			}
		}
		digests = append(digests, run.InputDigest)
	}
	s.reads(mixedUp("T-1", march(3, 7, 10), "hot"), mixedUp("T-1", march(3, 7, 20), "hot"))
	traced(limit.Unknown)
	list := s.quarantined(2)
	s.resolves(list[0].ID, reading.Rejected)
	traced(limit.Unknown)
	s.resolves(list[1].ID, reading.Accepted) // 21.8 °C: nobody cooks with that
	traced(limit.Missed)
	s.quarantined(0)
}

// A decision stands, its reason and its maker are in the trail, and the accepted
// reading is as it was sent.
func TestDecisionOnAReadingStands(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.reads(mixedUp("T-1", march(3, 7, 0), "A"))
	id := s.quarantined(1)[0].ID
	for rule, r := range map[string]Ruling{"unknown-word": {"maybe", "why", "qa-1"}, "required": {reading.Accepted, "", "qa-1"}} {
		if _, err := s.ResolveReading(s.ctx, s.sc, id, r); !ruleOf(err, rule) {
			t.Errorf("%+v: %v, want %s", r, err, rule)
		}
	}
	if _, err := s.ResolveReading(s.ctx, s.sc, id+1, Ruling{reading.Accepted, "why", "qa-1"}); !ruleOf(err, "unknown-reading") {
		t.Errorf("a reading that is not there: %v", err)
	}
	h := s.resolves(id, reading.Accepted)
	if h.Resolution == nil || h.Resolution.Decision != reading.Accepted || h.Resolution.DecidedBy != "qa-1" {
		t.Errorf("the decision: %+v", h.Resolution)
	}
	if _, err := s.ResolveReading(s.ctx, s.sc, id, Ruling{reading.Rejected, "second thoughts", "qa-1"}); !ruleOf(err, "already-resolved") {
		t.Errorf("second thoughts: %v", err)
	}
	list, err := s.Readings(s.ctx, s.sc, "T-1", reading.Place{}, march(28, 0, 0), 10)
	s.must(err)
	if len(list) != 1 || list[0].Value != 71.2 || list[0].Unit != unit.FahrenheitScale {
		t.Errorf("readings: %+v", list)
	}
	entries, err := s.TrailAfter(s.ctx, s.sc, "instrument/T-1", 0, 100)
	s.must(err)
	var last trail.Record
	s.must(json.Unmarshal(entries[len(entries)-1].Body, &last))
	if last.Action != "reading.accepted" || last.Reason != "the chart says so" || !last.HappenedAt.Equal(march(3, 7, 0)) {
		t.Errorf("the trail says %+v", last)
	}
}

func ruleOf(err error, rule string) bool {
	var f *fault.Error
	return errors.As(err, &f) && f.Rule == rule
}

// A rejected reading stays a gap until what should have been sent comes under the
// same key; then the lot is judged by that.
func TestRejectedReadingSentAgainRightlyFillsTheGap(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A")
	wrong := mixedUp("T-1", march(3, 7, 0), "A")
	wrong.SourceID = "r-1"
	right := wrong
	right.Unit, right.Value = unit.CelsiusScale, 80
	s.reads(wrong)
	d := s.fails("T-1", march(5, 6, 0))
	var rows fault.Rows
	if _, err := s.TakeReadings(s.ctx, s.sc, chunk("too soon", right)); !errors.As(err, &rows) || rows[0].Rule != "conflict" {
		t.Errorf("another value while nobody has decided: %v", err)
	}
	s.resolves(s.quarantined(1)[0].ID, reading.Rejected)
	if r := verdictOf(t, s.trace(d), "A"); r.Verdict != limit.Unknown {
		t.Errorf("rejected and nothing else: %s", r.Verdict)
	}
	s.reads(right)
	s.is(d, Detected, true)
	if r := verdictOf(t, s.trace(d), "A"); r.Verdict != limit.Met || r.Readings != 1 {
		t.Errorf("sent again: %s with %d readings, want met with 1", r.Verdict, r.Readings)
	}
}

// Ranges and limits that a sender cannot be expected to know are no reason to
// refuse a whole chunk: the good rows are readings at once.
func TestQuarantineDoesNotStopItsChunk(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	c := chunk("mixed", cooked("T-9", march(3, 6, 0), 80, "A"), mixedUp("T-1", march(3, 7, 0), "A"), cooked("T-1", march(3, 8, 0), 80, "A"))
	a, err := s.TakeGoodReadings(s.ctx, s.sc, c)
	s.must(err)
	if a.Accepted != 1 || len(a.Quarantined) != 1 || a.Quarantined[0].Index != 1 || a.Quarantined[0].Rule != "unit-mix-up" || len(a.Refused) != 1 || a.Refused[0].Index != 0 {
		t.Errorf("the answer: %+v", a)
	}
	again, err := s.TakeGoodReadings(s.ctx, s.sc, c)
	s.must(err)
	if again.Accepted != 1 || len(again.Quarantined) != 1 || again.Quarantined[0] != a.Quarantined[0] {
		t.Errorf("the same chunk again: %+v", again)
	}
}
