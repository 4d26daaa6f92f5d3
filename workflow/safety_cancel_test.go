package workflow

import (
	"testing"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/signoff"
)

// failedOnce is a plant whose thermometer failed a check, and passed the next one.
func failedOnce(t *testing.T) (*site, Deviation) {
	s := newSite(t)
	s.employ()
	s.reads(cooked("T-1", march(3, 1, 0), 72, "A"))
	d := s.fails("T-1", march(4, 6, 0))
	return s, d
}

func (s *site) lastCheck(code string) int64 {
	return int64(s.count(`select max(check_id) from accuracy_check join instrument using (plant_id, instrument_id) where code = $1`, code))
}

// A check is shown to be no check by three who sign for a repeat, and what it held
// is free.
func TestSafetyCancelled(t *testing.T) {
	t.Parallel()
	s, d := failedOnce(t)
	s.check("T-1", march(4, 8, 0), 0)
	_, err := s.Cancel(s.ctx, s.as(disposition.QALead), d.ID, s.lastCheck("T-1"), "the bath was not stirred")
	s.must(err)
	s.signAll(d, signoff.Cancellation)
	if got := s.now(d).State; got != CancelledInError {
		t.Errorf("deviation is %s", got)
	}
	s.holds(d)
}

// Two checks that failed are not undone by one that passed.
func TestSafetyCancelledTooMuch(t *testing.T) {
	t.Parallel()
	s, d := failedOnce(t)
	s.check("T-1", march(4, 7, 0), 3)
	s.check("T-1", march(4, 8, 0), 0)
	_, err := s.Cancel(s.ctx, s.as(disposition.QALead), d.ID, s.lastCheck("T-1"), "the bath was not stirred")
	if !isFault(err, fault.Refused, "another-failed") {
		t.Errorf("the second failed check: %v", err)
	}
}

// What becomes known while a cancellation is being signed stops it.
func TestSafetyCancelledLate(t *testing.T) {
	t.Parallel()
	s, d := failedOnce(t)
	s.check("T-1", march(4, 8, 0), 0)
	r, err := s.Cancel(s.ctx, s.as(disposition.QALead), d.ID, s.lastCheck("T-1"), "the bath was not stirred")
	s.must(err)
	s.must(s.signs(disposition.CalibrationTechnician, r))
	s.happens("T-1", march(4, 7, 0), "adjusted")
	if err := s.signs(disposition.QALead, r); !isFault(err, fault.Refused, "instrument-touched") {
		t.Errorf("the instrument was adjusted in between: %v", err)
	}
	s.holds(d, "A")
}
