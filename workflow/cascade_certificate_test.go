package workflow

import (
	"slices"
	"testing"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
)

// corrected records a certificate of R-1 with one correction everywhere.
func (s *site) corrected(number string, from, until time.Time, correction float64) {
	s.Helper()
	s.added(s.AddCertificates(s.ctx, s.sc, []instrument.Certificate{{Instrument: "R-1", Number: number, IssuedAt: from, ValidUntil: until,
		Unit: unit.CelsiusScale, Points: []instrument.CertificatePoint{{At: 0, Correction: *micro(correction)}, {At: 100 * unit.PerDegree, Correction: *micro(correction)}}}}))
}

// underCertificate: T-1 passed against R-1 on the 4th under the certificate C-1 and read
// lots before and after. All of it is invented.
func underCertificate(t *testing.T) *site {
	t.Helper()
	s := newSite(t)
	s.corrected("C-1", march(1, 0, 0), march(20, 0, 0), 0)
	s.makes("earlier", "later")
	s.reads(cooked("T-1", march(3, 0, 0), 72, "earlier"), cooked("T-1", march(5, 0, 0), 72, "later"))
	s.record(against(checkOf("T-1", march(4, 0, 0), 0), "R-1"))
	return s
}

// A correction table that becomes known late: the reference read 3 °C too high,
// so T-1, which agreed with it, did so too and fails by the design notes on
// errors, §7. What hangs on that is held at once and waits.
func TestLateCertificateJudgesChecksAnew(t *testing.T) {
	t.Parallel()
	s := underCertificate(t)
	s.corrected("C-2", march(2, 0, 0), march(20, 0, 0), -3)
	list := s.pending()
	if len(list) != 1 || list[0].Reference != "R-1" {
		t.Fatalf("%+v", list)
	}
	f := s.tree(list[0])
	k, w := f.Below[0].Checks[0], f.Below[0].Windows[0]
	if k.Change != changeFalls || k.Why != "a certificate became known late: found pass and left pass then, fail and fail by it" {
		t.Errorf("%+v", k)
	}
	if w.After.After == nil || w.OpenedBy != "failed its check" || !w.After.After.Equal(march(2, 6, 0)) || w.After.Until != nil {
		t.Errorf("%+v", w)
	}
	if got := s.heldNow(); !slices.Equal(got, []string{"earlier", "later"}) {
		t.Errorf("held: %v", got)
	}
	if opened := s.check("T-1", march(6, 0, 0), 0); len(opened) != 0 {
		t.Errorf("a pass opened %+v ahead of the confirmation", opened)
	}
	s.confirmAll()
	d := s.deviationsOf("T-1")
	if len(d) != 1 {
		t.Fatalf("%d deviations", len(d))
	}
	run := s.trace(d[0])
	if e := run.Points[1].Found; e < 2.999 || e > 3.001 {
		t.Errorf("error %g K, want the 3 of the certificate", e)
	}
	checks, err := s.Checks(s.ctx, s.sc, "T-1", 0, 10)
	s.must(err)
	if len(checks) != 3 || string(checks[1].Found) != "pass" {
		t.Errorf("the record itself was changed: %+v", checks)
	}
}

// One that says nothing new to the verdict opens nothing; what was traced is
// traced again, since its error is another now.
func TestLateCertificateWithSmallCorrections(t *testing.T) {
	t.Parallel()
	s := underCertificate(t)
	d := s.fails("T-1", march(6, 0, 0))
	s.trace(d)
	before := s.now(d)
	s.corrected("C-1", march(1, 0, 0), march(20, 0, 0), 0) // the same again
	s.corrected("C-0", march(1, 0, 0).AddDate(0, 0, -5), march(20, 0, 0), -3)
	if s.now(d).RetraceDue != nil || len(s.pending()) != 0 {
		t.Errorf("a certificate that is older than the one in use changed something")
	}
	s.corrected("C-2", march(2, 0, 0), march(20, 0, 0), 0.05)
	if now := s.now(d); now.RetraceDue == nil || before.RetraceDue != nil || len(s.pending()) != 0 {
		t.Errorf("%+v, %d cascades", now, len(s.pending()))
	}
	run := s.trace(d)
	if again := s.trace(d); string(run.InputDigest) != string(again.InputDigest) {
		t.Error("the same evidence has two digests")
	}
}

// A certificate that does not reach the temperatures of a check leaves no check.
func TestCheckOutsideALateCertificateIsNoCheck(t *testing.T) {
	t.Parallel()
	s := underCertificate(t)
	s.added(s.AddCertificates(s.ctx, s.sc, []instrument.Certificate{{Instrument: "R-1", Number: "C-2", IssuedAt: march(2, 0, 0), ValidUntil: march(20, 0, 0),
		Unit: unit.CelsiusScale, Points: []instrument.CertificatePoint{{At: -1 * unit.PerDegree}, {At: 30 * unit.PerDegree}}}}))
	list := s.pending()
	if len(list) != 1 || s.tree(list[0]).Below[0].Checks[0].Change != changeFalls {
		t.Fatalf("%+v", list)
	}
	s.confirmAll()
	run := s.trace(s.deviationsOf("T-1")[0])
	if run.LastGoodAt == nil || !run.LastGoodAt.Equal(march(2, 6, 0)) {
		t.Errorf("last good check %v", run.LastGoodAt)
	}
	s.holds(s.deviationsOf("T-1")[0], "earlier", "later")
}

// An expired certificate is refused at the door.
func TestCheckWithAnExpiredReferenceIsRefused(t *testing.T) {
	t.Parallel()
	s := underCertificate(t)
	_, err := s.Record(s.ctx, s.sc, Happenings{Checks: []instrument.Check{against(checkOf("T-1", march(21, 0, 0), 0), "R-1")}})
	var faults *HappeningFaults
	if !asHappeningFaults(err, &faults) || faults.Checks[0].Rule != "expired-reference" || faults.Checks[0].Kind != fault.Invalid {
		t.Errorf("%v", err)
	}
}
