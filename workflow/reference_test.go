package workflow

import (
	"testing"

	"lastgood/workflow/instrument"
)

// A check is only as good as its reference was: T-1 passes against R-1 on the
// 4th, R-1 turns out to have been in doubt then, T-1 fails on the 6th.
func TestCheckWithAReferenceInDoubtIsNoGoodCheck(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	for name, c := range map[string]struct{ referenceFirst, together bool }{
		"reference fails first": {referenceFirst: true},
		"reference fails later": {},
		"both at once":          {together: true},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := siteOn(t, svc)
			s.reads(cooked("T-1", march(3, 0, 0), 72, "earlier"), cooked("T-1", march(5, 0, 0), 72, "later"))
			s.record(against(checkOf("T-1", march(4, 0, 0), 0), "R-1"))
			reference, own := checkOf("R-1", march(5, 12, 0), 3), checkOf("T-1", march(6, 0, 0), 3)
			var d Deviation
			find := func(opened []Deviation) {
				for _, o := range opened {
					if o.FailedAt.Equal(own.PerformedAt) {
						d = o
					}
				}
			}
			switch {
			case c.together:
				find(s.record(own, reference))
			case c.referenceFirst:
				s.record(reference)
				find(s.record(own))
			default:
				find(s.record(own))
				s.holds(d, "later")
				s.trace(d)
				s.record(reference)
				s.is(d, Detected, true)
			}
			s.holds(d, "earlier", "later")
			run := s.trace(d)
			if run.LastGoodAt == nil || !run.LastGoodAt.Equal(march(2, 6, 0)) {
				t.Errorf("last good check %v, want the one before the reference was in doubt", run.LastGoodAt)
			}
			s.holds(d, "earlier", "later")
		})
	}
}

// The reference of the reference: any depth (procedure.md X03).
func TestDoubtGoesDownTheChainOfReferences(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.reads(cooked("T-1", march(2, 12, 0), 72, "earlier"))
	s.record(against(checkOf("T-2", march(3, 0, 0), 0), "R-1")) // untrusted once R-1 falls
	s.record(against(checkOf("T-1", march(4, 0, 0), 0), "T-2")) // untrusted once T-2 falls back to the 2nd
	s.check("T-2", march(5, 0, 0), 3)
	d := s.fails("T-1", march(6, 0, 0))
	s.holds(d, "earlier")
	s.fails("R-1", march(7, 0, 0))
	s.trace(d)
	s.holds(d, "earlier")
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
