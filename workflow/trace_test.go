package workflow

import (
	"bytes"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/reading"
)

func checks(list ...instrument.Check) []instrument.Check { return list }

// The same evidence gives the same run (design §6).
func TestSameEvidenceSameRun(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	a, b := s.trace(d), s.trace(d)
	if a.Number != 1 || b.Number != 2 {
		t.Errorf("runs %d and %d: none is overwritten", a.Number, b.Number)
	}
	if !bytes.Equal(a.InputDigest, b.InputDigest) {
		t.Error("the digests of the same evidence differ")
	}
	if diff := cmp.Diff(a.Assessments, b.Assessments); diff != "" {
		t.Errorf("assessments differ:\n%s", diff)
	}
	s.reads(cooked("T-1", march(4, 0, 0), 72, "A"))
	if c := s.trace(d); bytes.Equal(a.InputDigest, c.InputDigest) {
		t.Error("the digest does not tell that there is one more reading")
	}
}

// T-1 read 3 °C high on the 5th and was right on the 2nd: the true temperature
// was between the reading less 3 °C and the reading, less and plus U (design §4).
func TestVerdictsOfAFailedCookProbe(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.reads(
		cooked("T-1", march(3, 1, 0), 80, "margin"), cooked("T-1", march(3, 2, 0), 72, "doubt"),
		cooked("T-1", march(3, 3, 0), 69, "short"), cooked("T-1", march(3, 4, 0), 71, "edge"))
	got := map[string]string{}
	run := s.trace(s.fails("T-1", march(5, 6, 0)))
	for _, a := range run.Assessments {
		got[a.Lot] = string(a.Result.Verdict)
	}
	want := map[string]string{"margin": "met", "doubt": "indeterminate", "edge": "indeterminate", "short": "missed"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("verdicts (-want +got):\n%s", diff)
	}
}

// A lot that lay where the instrument hung, of which nothing was recorded, is
// unknown and held (design §6).
func TestSilenceIsUnknown(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	to := march(4, 0, 0)
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "cooler", From: march(2, 12, 0)}}))
	s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "silent", Location: "cooler", From: march(3, 0, 0), To: &to}}))
	d := s.fails("T-1", march(5, 6, 0))
	s.holds(d, "silent")
	run := s.trace(d)
	if len(run.Assessments) != 1 || run.Assessments[0].Result.Verdict != "unknown" || run.Assessments[0].Via != "mounting" {
		t.Errorf("assessments: %+v", run.Assessments)
	}
}

func TestRoomReadingsVouchForWhatWasThere(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	to := march(3, 4, 0)
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "cooler", From: march(2, 12, 0)}}))
	s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "chilled", Location: "cooler", From: march(3, 0, 0), To: &to}}))
	var room []reading.Reading
	for h := range 5 {
		room = append(room, reading.Reading{Instrument: "T-1", TakenAt: march(3, h, 0), Value: 3, Unit: unit.CelsiusScale})
	}
	s.reads(room...)
	run := s.trace(s.fails("T-1", march(5, 6, 0)))
	if len(run.Assessments) != 1 {
		t.Fatalf("assessments: %+v", run.Assessments)
	}
	// It read too high: the product was colder than recorded, and 3 °C was good.
	if a := run.Assessments[0]; a.Limit != "chill" || a.Result.Verdict != "met" || a.Result.Readings != 5 {
		t.Errorf("%s: %s of %d readings", a.Limit, a.Result.Verdict, a.Result.Readings)
	}
}

func TestAskingTooEarlyOrForNothing(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	d := s.fails("T-1", march(5, 6, 0))
	r, err := s.Report(s.ctx, s.sc, d.ID)
	if err != nil || r.Run.Number != 0 || r.Run.Instrument != "T-1" || len(r.Run.Assessments) != 0 {
		t.Errorf("report before the trace: run %d of %s, %v", r.Run.Number, r.Run.Instrument, err)
	}
	if _, err := s.Trace(s.ctx, s.sc, d.ID+1); !isFault(err, fault.NotFound, "unknown-deviation") {
		t.Errorf("trace of none: %v", err)
	}
}

// The policy that is in force is a version; a run says which it used.
func TestPolicyVersions(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	if v, err := s.PutPolicy(s.ctx, s.sc, []byte(housePolicy)); err != nil || v != 1 {
		t.Errorf("the same text again is version %d, %v; want 1", v, err)
	}
	first := s.trace(d)
	if v := s.adopts(housePolicy + "# looked over\n"); v != 2 {
		t.Errorf("another text is version %d, want 2", v)
	}
	second := s.trace(d)
	if first.PolicyVersion != 1 || second.PolicyVersion != 2 || bytes.Equal(first.InputDigest, second.InputDigest) {
		t.Errorf("runs under versions %d and %d", first.PolicyVersion, second.PolicyVersion)
	}
	if _, err := s.PutPolicy(s.ctx, s.sc, []byte("limits: [{limit: x, kind: at_leest, temperature: 1 C}]")); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a policy with a problem: %v", err)
	}
	if n := s.count(`select count(*) from policy_version`); n != 2 {
		t.Errorf("%d versions are kept, want 2", n)
	}
}
