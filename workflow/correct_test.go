package workflow

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
	"lastgood/workflow/correct"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

func paper(name string) []NewPaper {
	return []NewPaper{{name, "text/plain", []byte("what " + name + " says")}}
}

// writes lets QA write one part of the corrective action.
func (s *site) writes(d Deviation, n NewPart) Correction {
	s.Helper()
	if n.Text == "" {
		n.Text = "what was done about the " + string(n.Part)
	}
	c, err := s.WriteCorrection(s.ctx, s.as(disposition.QALead), d.ID, n)
	s.must(err)
	return c
}

// backup lets the line run on T-2, and restores it with that.
func (s *site) backup(d Deviation) {
	s.Helper()
	read := march(10, 8, 0)
	s.reads(cooked("T-2", read, 80, ""))
	for _, e := range []Event{"stop", "run_on_backup", "restore"} {
		_, err := s.RecordLine(s.ctx, s.as(disposition.LineSupervisor), d.ID, lineEventOf(e, read))
		s.must(err)
	}
}

func lineEventOf(e Event, read time.Time) NewLineEvent {
	n := NewLineEvent{Event: e, At: read, Note: "as the plan says"}
	if e != "stop" {
		n.Instrument, n.ReadingAt, n.Evidence = "T-2", &read, paper("photo of the panel")
	}
	return n
}

// corrects does all that closing asks for besides the product.
func (s *site) corrects(d Deviation) {
	s.Helper()
	s.backup(d)
	due := march(28, 12, 0).AddDate(0, 0, 30)
	for _, p := range correct.Parts {
		n := NewPart{Part: p, Evidence: paper("report on the " + string(p))}
		if p == correct.Prevention {
			n.EffectiveBy = &due
		}
		s.writes(d, n)
	}
	s.signAll(d, signoff.Correction)
	s.record(adjusted(checkOf("T-1", march(12, 6, 0), 3)))
	_, err := s.AskToReturn(s.ctx, s.as(disposition.CalibrationTechnician), "T-1", "adjusted at two points")
	s.must(err)
	s.signAll(d, signoff.Return)
	if s.now(d).RetraceDue != nil {
		s.trace(d)
	}
	_, err = s.ReviewRecords(s.ctx, s.as(disposition.QualifiedPerson), d.ID, "all records of the day, nothing amiss", "")
	s.must(err)
	s.signAll(d, signoff.Review)
}

// closes goes the whole way from traced to closed.
func (s *site) closes(d Deviation) {
	s.Helper()
	s.evaluates(d)
	s.must(s.proposes(d, "A", "", disposition.Release))
	s.must(s.proposes(d, "B", "", disposition.Destroy))
	s.signAll(d, signoff.Disposition)
	s.carriesOut(d)
	s.signAll(d, signoff.Execution)
	s.corrects(d)
	for _, want := range []string{"notification_unassessed"} { // nothing was shipped
		if slices.Contains(s.codes(d), want) {
			s.Errorf("in the way: %s", want)
		}
	}
	if left, err := s.InTheWay(s.ctx, s.sc, d.ID); err != nil || len(left) > 0 {
		s.Fatalf("in the way: %v %v", left, err)
	}
	_, err := s.AskToClose(s.ctx, s.as(disposition.QALead), d.ID)
	s.must(err)
	s.signAll(d, signoff.Closing)
	s.is(d, Closed, false)
}

func TestClosingAsksForTheCorrectiveAction(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	got := s.codes(d)
	for _, want := range []string{"cause_not_found_without_statement", "preventive_measure_unverified", "instrument_not_dispositioned", "missing_signature"} {
		if !slices.Contains(got, want) {
			t.Errorf("%s is not in the way: %v", want, got)
		}
	}
	s.closes(d)
}

func TestCorrectiveActionInFourParts(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	if _, err := s.WriteCorrection(s.ctx, s.system(), d.ID, NewPart{Part: correct.Cause, Text: "worn"}); !errors.Is(err, fault.Forbidden) {
		t.Errorf("a key writes: %v", err)
	}
	for name, n := range map[string]NewPart{"no such part": {Part: "luck", Text: "x"}, "nothing said": {Part: correct.Cause},
		"control not found": {Part: correct.Control, Text: "x", Open: true}, "the product failed the plan": {Part: correct.Product, Text: "x", PlanFailed: true}} {
		if _, err := s.WriteCorrection(s.ctx, s.as(disposition.QALead), d.ID, n); !errors.Is(err, fault.Invalid) {
			t.Errorf("%s: %v", name, err)
		}
	}
	s.writes(d, NewPart{Part: correct.Cause, Open: true})
	s.writes(d, NewPart{Part: correct.Control})
	s.writes(d, NewPart{Part: correct.Prevention})
	c := s.writes(d, NewPart{Part: correct.Product})
	if c.Record != nil {
		t.Error("signed without a statement why no cause was found, and without a line")
	}
	if got := s.codes(d); !slices.Contains(got, "cause_not_found_without_statement") || !slices.Contains(got, "effectiveness_due") {
		t.Errorf("in the way: %v", got)
	}
	c = s.writes(d, NewPart{Part: correct.Cause, Open: true, Statement: "two laboratories looked and found nothing"})
	if c.Record != nil {
		t.Error("signed without a line restored")
	}
	s.backup(d)
	c, err := s.Correction(s.ctx, s.sc, d.ID)
	s.must(err)
	if c.Record == nil || !strings.Contains(string(c.Record.Body), "two laboratories") || !strings.Contains(string(c.Record.Body), "run_on_backup") {
		t.Fatalf("record %+v", c.Record)
	}
	s.signAll(d, signoff.Correction)
	c = s.writes(d, NewPart{Part: correct.Prevention, Text: "another measure"})
	if c.Record.Complete() || c.Record.Version != 2 {
		t.Errorf("what changed stays signed: version %d", c.Record.Version)
	}
}

func TestLineRunsOnlyOnAGoodInstrument(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	read, before := march(10, 8, 0), march(3, 8, 0)
	s.reads(cooked("T-2", read, 80, ""), cooked("T-2", before, 80, ""), cooked("T-2", read.Add(time.Hour), 60, ""), cooked("T-1", read, 80, "A"))
	if s.now(d).RetraceDue != nil {
		s.trace(d)
	}
	n := lineEventOf("run_on_backup", read)
	for name, c := range map[string]struct {
		change func(*NewLineEvent)
		says   string
	}{
		"what failed":              {func(n *NewLineEvent) { n.Instrument = "T-1" }, "T-1 may not be used: failed its check"},
		"a reading before":         {func(n *NewLineEvent) { n.ReadingAt = &before }, "2025-03-03T08:00:00Z is not after the failure at 2025-03-04T06:00:00Z"},
		"a reading below":          {func(n *NewLineEvent) { at := read.Add(time.Hour); n.ReadingAt = &at }, `T-2 read 60.0 C at 2025-03-10T09:00:00Z, which does not meet the limit "cook"`},
		"no reading":               {func(n *NewLineEvent) { at := read.Add(time.Minute); n.ReadingAt = &at }, "T-2 has no reading at 2025-03-10T08:01:00Z"},
		"restored without a fault": {func(n *NewLineEvent) { n.Event = "restore" }, "the line was never recorded as stopped: record that first"},
	} {
		m := n
		c.change(&m)
		if _, err := s.RecordLine(s.ctx, s.as(disposition.LineSupervisor), d.ID, m); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if got, _ := s.Correction(s.ctx, s.sc, d.ID); len(got.Line.Events) != 0 {
		t.Errorf("recorded all the same: %+v", got.Line)
	}
	if _, err := s.RecordLine(s.ctx, s.as(disposition.Verifier), d.ID, n); !errors.Is(err, fault.Forbidden) {
		t.Errorf("a verifier: %v", err)
	}
	l, err := s.RecordLine(s.ctx, s.as(disposition.QALead), d.ID, n)
	s.must(err)
	if l.State != LineOnBackup || len(l.Events) != 1 || len(l.Events[0].Papers) != 1 {
		t.Errorf("%+v", l)
	}
}

func TestInstrumentGoesBackOnlyAfterAnAsLeftPass(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	state := func() State {
		st, err := s.InstrumentStanding(s.ctx, s.sc, "T-1")
		s.must(err)
		return st.State
	}
	asks := func() error {
		_, err := s.AskToReturn(s.ctx, s.as(disposition.CalibrationTechnician), "T-1", "it was cleaned")
		return err
	}
	if got := state(); got != InstrumentSuspended {
		t.Errorf("failed: %s", got)
	}
	if err := asks(); !isFault(err, fault.Refused, "transition-not-allowed") {
		t.Errorf("returned as it failed: %v", err)
	}
	s.happens("T-1", march(5, 6, 0), instrument.Repaired)
	if got := state(); got != InstrumentRepaired {
		t.Errorf("repaired: %s", got)
	}
	only := checkOf("T-1", march(6, 6, 0), 0)
	only.Points = only.Points[:1] // ice says nothing of a cook
	s.record(only)
	if err := asks(); !isFault(err, fault.Refused, "not-passed") {
		t.Errorf("returned on ice alone: %v", err)
	}
	s.check("T-1", march(7, 6, 0), 0)
	s.must(asks())
	s.happens("T-1", march(7, 6, 30), instrument.Repaired)
	r := s.records(d)[0]
	s.must(s.signs(disposition.CalibrationTechnician, r))
	if err := s.signs(disposition.QALead, r); err == nil || !strings.Contains(err.Error(), "return") {
		t.Errorf("repaired after the check that the return rests on: %v", err)
	}
	s.check("T-1", march(9, 6, 0), 0)
	s.must(asks())
	var open []signoff.Record
	for _, r := range s.records(d) {
		if r.Kind == signoff.Return && len(r.Signatures) == 0 {
			open = append(open, r)
		}
	}
	s.must(s.signs(disposition.CalibrationTechnician, open[0]))
	s.must(s.signs(disposition.QALead, open[0]))
	if got := state(); got != InstrumentReturned {
		t.Errorf("returned: %s", got)
	}
	if n := s.count(`select count(*) from instrument where code = 'T-1' and state = 'in_use'`); n != 1 {
		t.Error("it is suspended still")
	}
	if n := s.count(`select count(*) from instrument_event where kind = 'returned_to_use'`); n != 1 {
		t.Errorf("%d returns in its history", n)
	}
	if slices.Contains(s.codes(d), "instrument_not_dispositioned") {
		t.Error("a signed return settles nothing")
	}
}

// A reference that falls after the return takes the ground from under it.
func TestReturnOnAReferenceThatFell(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.record(against(checkOf("T-1", march(7, 6, 0), 0), "R-1"))
	_, err := s.AskToReturn(s.ctx, s.as(disposition.CalibrationTechnician), "T-1", "it was cleaned")
	s.must(err)
	s.signAll(d, signoff.Return)
	s.fails("R-1", march(8, 6, 0))
	s.confirmAll()
	if got := s.codes(d); !slices.Contains(got, "reference_under_question") {
		t.Errorf("in the way: %v", got)
	}
}

func TestInstrumentIsRetiredOrLost(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	if _, err := s.LoseInstrument(s.ctx, s.as(disposition.QALead), "T-2", "gone"); ruleIn(err) != "record-loss-first" {
		t.Errorf("lost without a failure: %v", err)
	}
	if _, err := s.RetireInstrument(s.ctx, s.system(), "T-1", "broken"); !errors.Is(err, fault.Forbidden) {
		t.Errorf("a key retires: %v", err)
	}
	st, err := s.RetireInstrument(s.ctx, s.as(disposition.CalibrationTechnician), "T-1", "not worth the repair")
	s.must(err)
	if st.State != InstrumentRetired || slices.Contains(s.codes(d), "instrument_not_dispositioned") {
		t.Errorf("%+v", st)
	}
	if _, err := s.AskToReturn(s.ctx, s.as(disposition.CalibrationTechnician), "T-1", "after all"); !errors.Is(err, fault.Refused) {
		t.Errorf("returned from retirement: %v", err)
	}
	since := march(20, 0, 0)
	_, err = s.AddInstruments(s.ctx, s.sc, []instrument.Instrument{{Code: "T-1", Description: "a new one", Kind: "thermocouple", Unit: 'C', Tolerance: 1_000_000, InServiceFrom: &since}})
	if err == nil {
		t.Error("the code of a retired instrument is used again")
	}
	two := s.fails("T-2", march(9, 6, 0))
	st, err = s.LoseInstrument(s.ctx, s.as(disposition.QALead), "T-2", "nobody finds it")
	s.must(err)
	if st.State != InstrumentLost || slices.Contains(s.codes(two), "instrument_not_dispositioned") {
		t.Errorf("%+v", st)
	}
}

func TestReanalysisIsDueForWhatNoPlanForesaw(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	stands := func() PlanStanding {
		p, err := s.Reanalysis(s.ctx, s.sc, d.ID)
		s.must(err)
		return p
	}
	if p := stands(); p.State != PlanNotNeeded {
		t.Errorf("%s because %v", p.State, p.Reasons)
	}
	s.writes(d, NewPart{Part: correct.Cause, PlanFailed: true})
	if p := stands(); p.State != PlanDue || !slices.Contains(s.codes(d), "reanalysis_due") {
		t.Errorf("%s because %v", p.State, p.Reasons)
	}
	if _, err := s.WriteReanalysis(s.ctx, s.as(disposition.QualifiedPerson), d.ID, NewReanalysis{Outcome: "weekly checks", Changes: true}); ruleIn(err) != "text-missing" {
		t.Errorf("a change of no version: %v", err)
	}
	_, err := s.WriteReanalysis(s.ctx, s.as(disposition.QualifiedPerson), d.ID, NewReanalysis{Outcome: "weekly checks", Changes: true, Version: "plan 8"})
	s.must(err)
	if p := stands(); p.State != PlanDue {
		t.Errorf("done before it is signed: %s", p.State)
	}
	s.signAll(d, signoff.Reanalysis)
	if p := stands(); p.State != PlanDone || slices.Contains(s.codes(d), "reanalysis_due") {
		t.Errorf("%s", p.State)
	}
	s.reads(cooked("T-1", march(3, 1, 30), 60, "A")) // missed, whatever the error was
	s.trace(d)
	if p := stands(); p.State != PlanDue {
		t.Errorf("a reason that nobody signed for: %s", p.State)
	}
}

func TestLateReviewSaysWhy(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	now := march(28, 12, 0)
	reviewed := func(late string) []string {
		_, err := s.ReviewRecords(s.ctx, s.as(disposition.QualifiedPerson), d.ID, "all records", late)
		s.must(err)
		s.signAll(d, signoff.Review)
		return s.codes(d)
	}
	st, err := s.RecordReview(s.ctx, s.sc, d.ID)
	s.must(err)
	if st.Record != nil || len(st.Missing) != 1 || st.Missing[0].Code != "missing_signature" || !slices.Contains(st.By, disposition.QualifiedPerson) {
		t.Errorf("not reviewed yet: %+v", st)
	}
	if got := reviewed(""); slices.Contains(got, "late_review_unexplained") || slices.Contains(got, "missing_signature") {
		t.Errorf("in time: %v", got)
	}
	st, err = s.RecordReview(s.ctx, s.sc, d.ID)
	s.must(err)
	// Opened on Friday the 28th: the seventh working day is Tuesday, 8 April (21 CFR 117.165(a)(4)(i), from memory).
	if st.DueOn.Format(time.DateOnly) != "2025-04-08" || st.Late || st.Record == nil || !st.Record.Complete() || len(st.Missing) != 0 {
		t.Errorf("%+v", st)
	}
	old := s.now(d)
	old.OpenedAt = now.AddDate(0, 0, -12) // Sunday the 16th: the seventh working day is Tuesday the 25th (21 CFR 117.165(a)(4)(i), from memory)
	c := s.docket(d)
	c.d = old
	var got []Reason
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) (err error) {
		got, err = reviewInTheWay(s.ctx, tx, c)
		return err
	}))
	if len(got) != 1 || got[0].Code != "late_review_unexplained" {
		t.Errorf("late: %v", got)
	}
	reviewed("the reviewer was ill")
	c = s.docket(d)
	c.d = old
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) (err error) {
		got, err = reviewInTheWay(s.ctx, tx, c)
		return err
	}))
	if len(got) != 0 {
		t.Errorf("late, with a reason: %v", got)
	}
}

// The same thermometer fails again before the measure was shown to work: the older
// deviation opens again, and asks for what that changes.
func TestSameCauseAgainReopens(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.closes(d)
	opened := s.fails("T-1", march(27, 6, 0))
	got := s.now(d)
	if got.ReopenAsked == nil || !strings.HasPrefix(*got.ReopenAsked, "same_cause_again") || got.RetraceDue == nil {
		t.Fatalf("reopening is not asked for: %+v", got)
	}
	s.trace(d)
	if got := s.now(d); got.Reopened != 1 || got.State == Closed {
		t.Errorf("%s, reopened %d times", got.State, got.Reopened)
	}
	if diff := cmp.Diff(1, len(s.told(got.stream(), "correction.recurred"))); diff != "" {
		t.Error(diff)
	}
	if opened.ID == d.ID {
		t.Error("no deviation of its own")
	}
}

// A measure that does not work opens the deviation again; one that works closes the
// question.
func TestEffectOfThePreventiveMeasure(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	qa := s.as(disposition.QALead)
	if _, err := s.RecordEffect(s.ctx, qa, d.ID, NewEffect{Effective: true, Text: "no more drift", LookedAt: march(28, 11, 0)}); ruleIn(err) != "no-preventive-measure" {
		t.Errorf("an effect of nothing: %v", err)
	}
	s.closes(d)
	if _, err := s.RecordEffect(s.ctx, qa, d.ID, NewEffect{Effective: true, Text: "no more drift", LookedAt: march(28, 12, 5)}); ruleIn(err) != "nothing-attached" {
		t.Errorf("it works, without evidence: %v", err)
	}
	c, err := s.RecordEffect(s.ctx, qa, d.ID, NewEffect{Effective: true, Text: "no more drift", LookedAt: march(28, 12, 5), Evidence: paper("trend")})
	s.must(err)
	if c.Effect == nil || !c.Effect.Effective {
		t.Errorf("%+v", c.Effect)
	}
	s.is(d, Closed, false)
	_, err = s.RecordEffect(s.ctx, qa, d.ID, NewEffect{Text: "it drifted again", LookedAt: march(28, 12, 6)})
	s.must(err)
	if got := s.now(d); got.Reopened != 1 {
		t.Errorf("%s, reopened %d times", got.State, got.Reopened)
	}
	if !slices.Contains(s.codes(d), "effectiveness_due") {
		t.Errorf("in the way: %v", s.codes(d))
	}
}

// The tracks let nothing pass that nobody signed for.
func TestTracksOfWhatFailed(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	good := instrumentFacts{GoodEverywhere: true, Trusted: true, Signed: true}
	for name, f := range map[string]instrumentFacts{"unsigned": {true, true, false}, "no reference": {true, false, true}, "a point open": {false, true, true}} {
		if _, err := instrumentTrack.Next(s.ctx, InstrumentChecked, "return", "person", f); !errors.Is(err, fault.Refused) {
			t.Errorf("%s: %v", name, err)
		}
	}
	for _, from := range []State{InstrumentSuspended, InstrumentAdjusted, InstrumentRepaired, InstrumentRetired, InstrumentLost} {
		if _, err := instrumentTrack.Next(s.ctx, from, "return", "person", good); !errors.Is(err, fault.Refused) {
			t.Errorf("returned from %s: %v", from, err)
		}
	}
	if to, err := instrumentTrack.Next(s.ctx, InstrumentChecked, "return", "person", good); err != nil || to != InstrumentReturned {
		t.Errorf("%s %v", to, err)
	}
	if _, err := instrumentTrack.Next(s.ctx, InstrumentChecked, "return", "key", good); !errors.Is(err, fault.Forbidden) {
		t.Errorf("by a key: %v", err)
	}
	if _, err := retestTrack.Next(s.ctx, TestDecided, "take_back", "system", testFacts{Cancelled: true}); !errors.Is(err, fault.Refused) {
		t.Errorf("a decided re-test is taken back: %v", err)
	}
}
