package workflow

import (
	"bytes"
	"slices"
	"testing"
	"time"

	"lastgood/policy/limit"
	"lastgood/workflow/reading"
)

// Readings that arrive twice or out of order change nothing: the same evidence
// is traced (design notes on the procedure, X05).
func TestReadingsThatArriveTwiceOrOutOfOrderChangeNothing(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	var list []reading.Reading
	for i, lotCode := range []string{"A", "B", "A", "A", "B"} {
		r := cooked("T-1", march(3, 7, i), 72+float64(i), lotCode)
		r.SourceID = "r-" + string(rune('a'+i))
		list = append(list, r)
	}
	backwards := slices.Clone(list)
	slices.Reverse(backwards)
	arrive := func(name string, chunks ...[]reading.Reading) Run {
		s := openPlant(t, svc, t.Name()+name)
		s.makes("A", "B")
		for _, c := range chunks {
			s.reads(c...)
		}
		return s.trace(s.fails("T-1", march(5, 6, 0)))
	}
	want := arrive(" once", list)
	for name, chunks := range map[string][][]reading.Reading{
		" twice": {list, list}, " backwards": {backwards}, " one by one, backwards": {backwards[:1], backwards[1:2], backwards[2:], list[3:]},
	} {
		got := arrive(name, chunks...)
		if got.Readings != want.Readings || len(got.Assessments) != len(want.Assessments) {
			t.Fatalf("%s: %d readings and %d assessments, want %d and %d", name, got.Readings, len(got.Assessments), want.Readings, len(want.Assessments))
		}
		for i, a := range got.Assessments {
			if w := want.Assessments[i]; a.Lot != w.Lot || a.Result.Verdict != w.Result.Verdict || a.Result.Readings != w.Result.Readings || *a.Result.Measure.Worst != *w.Result.Measure.Worst {
				t.Errorf("%s: %+v, want %+v", name, a.Result, w.Result)
			}
		}
	}
}

// A gateway was down: the silence is a gap, and the lot unknown. What it sends
// later is traced again by itself, both times are kept, and the lot is judged by
// all of it (design notes on the procedure, X04 and X29).
func TestSilenceIsAGapUntilItIsFilledLate(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A")
	s.hangs()
	s.stood("A", march(3, 0, 0), march(3, 12, 0))
	s.reads(append(inRoom("T-1", march(3, 0, 0), march(3, 3, 0), 0), inRoom("T-1", march(3, 8, 0), march(3, 12, 0), 0)...)...)
	d := s.fails("T-1", march(5, 6, 0))
	silent := s.trace(d)
	if r := verdictOf(t, silent, "A"); r.Verdict != limit.Unknown {
		t.Errorf("five hours of silence, where two are allowed: %s, want unknown", r.Verdict)
	}
	s.reads(inRoom("T-1", march(3, 3, 30), march(3, 7, 30), 0)...)
	s.is(d, Detected, true)
	filled := s.trace(d)
	if r := verdictOf(t, filled, "A"); r.Verdict != limit.Met {
		t.Errorf("with what came late: %s, want met", r.Verdict)
	}
	if bytes.Equal(silent.InputDigest, filled.InputDigest) {
		t.Error("the digest does not know what came late")
	}
	list, err := s.Readings(s.ctx, s.sc, "T-1", reading.Place{At: march(3, 3, 15)}, march(3, 3, 30), 10)
	s.must(err)
	if len(list) != 1 || !list[0].TakenAt.Equal(march(3, 3, 30)) || list[0].RecordedAt.Sub(list[0].TakenAt) < 24*time.Hour {
		t.Errorf("when it was taken and when it came in: %+v", list)
	}
}
