package workflow

import (
	"context"
	"errors"
	"testing"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/pg"
)

// holdOf returns the standing hold of a deviation on a lot.
func (s *site) holdOf(d Deviation, code string) hold.Hold {
	s.Helper()
	var found hold.Hold
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) error {
		list, err := hold.Of(s.ctx, tx, int64(d.ID))
		for _, h := range list {
			if h.LotCode == code {
				found = h
			}
		}
		return err
	}))
	if found.ID == 0 {
		s.Fatalf("deviation %d does not hold %s", d.ID, code)
	}
	return found
}

// acknowledge acknowledges the hold on a lot with a count in kg.
func (s *site) acknowledge(d Deviation, code, counted string) error {
	s.Helper()
	h := s.holdOf(d, code)
	_, err := s.AcknowledgeHold(s.ctx, s.sc, h.ID, h.Version, unit.Quantity{Amount: counted, Unit: "kg"})
	return err
}

// is says whether err is a fault of a kind and rule.
func isFault(err error, k fault.Kind, rule string) bool {
	var f *fault.Error
	return errors.As(err, &f) && f.Kind == k && f.Rule == rule
}

// withHolds opens a deviation that holds lots A and B of 100 kg.
func withHolds(t *testing.T) (*site, Deviation) {
	t.Helper()
	s := newSite(t)
	s.employ()
	s.makes("A", "B")
	s.reads(cooked("T-1", march(3, 7, 0), 80, "A"), cooked("T-1", march(3, 8, 0), 72, "B"))
	s.happens("T-1", march(6, 0, 0), "removed_from_use")
	return s, s.fails("T-1", march(5, 6, 0))
}

func TestFromDetectedToEvaluating(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	s.is(d, Detected, true)
	s.must(s.acknowledge(d, "A", "100"))
	s.is(d, Detected, true)
	s.must(s.acknowledge(d, "B", "100"))
	s.is(d, Contained, true)
	s.trace(d)
	now := s.is(d, Traced, false)

	key := s.sc
	key.By = actor.Actor{ID: "k-1", Kind: actor.Key}
	if _, err := s.Evaluate(s.ctx, key, d.ID, now.Version); !isFault(err, fault.Forbidden, "transition-not-allowed") {
		t.Errorf("a key evaluates: %v", err)
	}
	if _, err := s.Evaluate(s.ctx, s.as(disposition.QualifiedPerson), d.ID, now.Version-1); !isFault(err, fault.Stale, "precondition-failed") {
		t.Errorf("evaluated on a version seen before: %v", err)
	}
	_, err := s.Evaluate(s.ctx, s.as(disposition.QualifiedPerson), d.ID, now.Version)
	s.must(err)
	if got := s.is(d, Evaluating, false); got.Evaluator == nil || *got.Evaluator != "pcqi" {
		t.Errorf("evaluator %v", got.Evaluator)
	}
}

func TestTracedBeforeContainedMovesOnWithTheLastAcknowledgement(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	s.trace(d)
	s.is(d, Detected, false)
	s.must(s.acknowledge(d, "A", "100"))
	s.must(s.acknowledge(d, "B", "100"))
	s.is(d, Traced, false)
}

func TestEvaluateNeedsTheTraceOfAllEvidence(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	if _, err := s.Evaluate(s.ctx, s.as(disposition.QualifiedPerson), d.ID, s.now(d).Version); !isFault(err, fault.Refused, "transition-not-allowed") {
		t.Errorf("evaluated as detected: %v", err)
	}
	s.trace(d)
	s.must(s.acknowledge(d, "A", "100"))
	s.must(s.acknowledge(d, "B", "100"))
	s.ships("A", "40", march(7, 0, 0))
	now := s.is(d, Traced, true)
	var r *Refusal
	if _, err := s.Evaluate(s.ctx, s.as(disposition.QualifiedPerson), d.ID, now.Version); !errors.As(err, &r) || len(r.Missing) != 1 || r.Missing[0] != traceCurrent.Name {
		t.Errorf("evaluated though due for another run: %v", err)
	}
}

// A shortfall is not contained; a later full count is (design §8).
func TestShortCountIsNotContained(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	s.must(s.acknowledge(d, "A", "100.000"))
	s.must(s.acknowledge(d, "B", "99.999999"))
	s.is(d, Detected, true)
	if h := s.holdOf(d, "B"); !h.Short || h.Counted == nil || *h.Counted != "99.999999" {
		t.Errorf("short %v, counted %v", h.Short, h.Counted)
	}
	s.must(s.acknowledge(d, "B", "101"))
	s.is(d, Contained, true)
	s.must(s.acknowledge(d, "B", "90")) // counted again, and some is missing
	s.is(d, Detected, true)
}

func TestCountOfSomethingElseIsRefused(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	h := s.holdOf(d, "A")
	if _, err := s.AcknowledgeHold(s.ctx, s.sc, h.ID, h.Version, unit.Quantity{Amount: "100", Unit: "case"}); !isFault(err, fault.Invalid, "unknown-unit") {
		t.Errorf("counted in cases: %v", err)
	}
	s.must(s.acknowledge(d, "A", "100"))
	if _, err := s.AcknowledgeHold(s.ctx, s.sc, h.ID, h.Version, *kg("100")); !isFault(err, fault.Stale, "precondition-failed") {
		t.Errorf("acknowledged on a version seen before: %v", err)
	}
	if _, err := s.AcknowledgeHold(s.ctx, s.sc, h.ID+1000, 1, *kg("1")); fault.KindOf(err) != fault.NotFound {
		t.Errorf("no such hold: %v", err)
	}
	s.is(d, Detected, true)
}

func TestAcknowledgementAgainIsAnsweredAndNotDoneAgain(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	h := s.holdOf(d, "A")
	sc := s.sc
	sc.IdemKey = "once"
	for range 2 {
		got, err := s.AcknowledgeHold(s.ctx, sc, h.ID, h.Version, *kg("100"))
		s.must(err)
		if got.Version != h.Version+1 {
			t.Errorf("version %d, want %d", got.Version, h.Version+1)
		}
	}
	if _, err := s.AcknowledgeHold(s.ctx, sc, h.ID, h.Version, *kg("90")); !isFault(err, fault.Invalid, "idempotency-key-reused") {
		t.Errorf("the key with another request: %v", err)
	}
	n := s.count(`select count(*) from trail_entry where convert_from(body, 'UTF8') like '%hold.acknowledged%'`)
	if n != 1 {
		t.Errorf("%d entries of the trail, want 1", n)
	}
}

// New product in doubt sends the case back, from evaluation too.
func TestNewHoldSendsTheCaseBack(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	s.trace(d)
	s.must(s.acknowledge(d, "A", "100"))
	s.must(s.acknowledge(d, "B", "100"))
	_, err := s.Evaluate(s.ctx, s.as(disposition.QualifiedPerson), d.ID, s.now(d).Version)
	s.must(err)
	s.makes("C")
	s.reads(cooked("T-1", march(4, 0, 0), 72, "C"))
	s.is(d, Evaluating, true)
	s.trace(d)
	s.is(d, Detected, false)
	s.holds(d, "A", "B", "C")
	s.must(s.acknowledge(d, "C", "100"))
	s.is(d, Traced, false)
}

// Late evidence that touches no new lot asks for the evaluation anew.
func TestLateEvidenceSendsTheEvaluationBack(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	s.trace(d)
	s.must(s.acknowledge(d, "A", "100"))
	s.must(s.acknowledge(d, "B", "100"))
	_, err := s.Evaluate(s.ctx, s.as(disposition.QualifiedPerson), d.ID, s.now(d).Version)
	s.must(err)
	s.reads(cooked("T-1", march(4, 0, 0), 60, "A"))
	s.trace(d)
	s.is(d, Traced, false)
}

// A command whose caller goes away leaves nothing.
func TestKilledCommandsLeaveNothing(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	before := s.everything()
	gone, cancel := context.WithCancel(s.ctx)
	err := s.db.InTx(gone, s.sc, func(tx *pg.Tx) error {
		if _, err := recordAll(gone, tx, Happenings{Checks: checks(checkOf("T-2", march(5, 6, 0), 3))}); err != nil {
			return err
		}
		cancel()
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	if _, err := s.Trace(gone, s.sc, d.ID); !errors.Is(err, context.Canceled) {
		t.Errorf("trace: %v", err)
	}
	if after := s.everything(); after != before {
		t.Errorf("rows before %s, after %s", before, after)
	}
}
