package workflow

import (
	"encoding/csv"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"lastgood/policy/disposition"
	"lastgood/policy/document"
	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

const obligations = "../testdata/published/regulatory/obligations.csv"

// row is what a published obligation says, by its column.
func obligation(t *testing.T, id string) map[string]string {
	t.Helper()
	f, err := os.Open(obligations)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range rows[1:] {
		if r[0] == id {
			m := map[string]string{}
			for i, c := range rows[0] {
				m[c] = r[i]
			}
			return m
		}
	}
	t.Fatalf("there is no row %s", id)
	return nil
}

// Every authority and every review stands in the published obligations with the
// citation and, as far as it is a number, the length that the tool counts.
func TestClocksAreThePublishedOnes(t *testing.T) {
	t.Parallel()
	for _, a := range document.Authorities() {
		r := obligation(t, a.Row)
		if r["citation"] != a.Citation || r["provenance"] != a.Read {
			t.Errorf("%s: %s (%s), the row says %s (%s)", a.ID, a.Citation, a.Read, r["citation"], r["provenance"])
		}
		by := map[bool]string{true: "immediately", false: "24 h"}[a.Immediately()]
		if a.ID == "fda_lacf" {
			by = "promptly" // the 24 h are a number of the design notes
		}
		if !strings.Contains(strings.ReplaceAll(r["by_when"], "24 hours", "24 h"), by) && !strings.Contains(r["by_when"], "within 24 h") {
			t.Errorf("%s: %s, the row says %s", a.ID, by, r["by_when"])
		}
	}
	for row, want := range map[string]string{"PC-21": "7 working days", "JU-05": "7 calendar days", "SF-05": "7 calendar days", "LA-11": "1 working day", "FS-23": "1 working day"} {
		i := slices.IndexFunc(reviews, func(r review) bool { return r.row == row })
		if i < 0 || reviews[i].rule.String() != want || reviews[i].citation != obligation(t, row)["citation"] {
			t.Errorf("%s: %+v", row, reviews)
		}
	}
}

// determines puts a determination up and lets everyone sign it.
func (s *site) determines(d Deviation, authority string, n NewDetermination) signoff.Record {
	s.Helper()
	r, err := s.Determine(s.ctx, s.as(disposition.RegulatoryLiaison), d.ID, authority, n)
	s.must(err)
	s.signAll(d, signoff.Notification)
	return r
}

func (s *site) notified(d Deviation, authority string) Notified {
	s.Helper()
	list, err := s.Notifications(s.ctx, s.sc, d.ID)
	s.must(err)
	i := slices.IndexFunc(list, func(n Notified) bool { return n.Authority == authority })
	if i < 0 {
		s.Fatalf("nothing of %s", authority)
	}
	return list[i]
}

func (s *site) clock(d Deviation, kind, part string) *Clock {
	s.Helper()
	list, err := s.Clocks(s.ctx, s.sc, d.ID)
	s.must(err)
	for i := range list {
		if list[i].Kind == kind && strings.Contains(list[i].What, part) {
			return &list[i]
		}
	}
	return nil
}

// From the determination to the end: the clock starts with the last signature, and
// stops when the authority was told.
func TestAuthorityIsTold(t *testing.T) {
	t.Parallel()
	s, d := shippedLot(t)
	rl := s.as(disposition.RegulatoryLiaison)
	if k := s.clock(d, ClockDetermination, "FSIS"); k == nil || k.State != ClockRunning || !k.DueAt.Equal(march(29, 12, 0)) {
		t.Fatalf("determination: %+v", k)
	}
	_, err := s.Determine(s.ctx, rl, d.ID, "fsis", NewDetermination{Required: true, Reason: "it may be adulterated, and is in commerce"})
	s.must(err)
	if k := s.clock(d, ClockNotice, "FSIS"); k != nil || s.notified(d, "fsis").State != string(Assessing) {
		t.Errorf("a clock before anybody signed: %+v", k)
	}
	if n := s.signAll(d, signoff.Notification); n != 3 {
		t.Errorf("signed by %d", n)
	}
	n := s.notified(d, "fsis")
	k := s.clock(d, ClockNotice, "FSIS")
	if n.State != string(Required) || k == nil || k.State != ClockRunning || !k.DueAt.Equal(march(29, 12, 0)) || k.Row != "FS-16" {
		t.Fatalf("%+v %+v", n, k)
	}
	if got := s.codes(d); !slices.Contains(got, "clock_running") {
		t.Errorf("in the way: %v", got)
	}
	m := NewMessage{At: march(28, 11, 50), Whom: "the duty officer", Method: "telephone", Person: "liaison", Text: "type, amount, origin, destination"}
	key := pg.Scope{Plant: s.sc.Plant, By: actor.Actor{ID: "k", Kind: actor.Key}}
	if _, err := s.Tell(s.ctx, key, n.ID, m); !isFault(err, fault.Forbidden, "person-required") {
		t.Errorf("told by a key: %v", err)
	}
	empty := m
	empty.Text = ""
	if _, err := s.Tell(s.ctx, rl, n.ID, empty); !isFault(err, fault.Refused, "transition-not-allowed") {
		t.Errorf("told without a text: %v", err)
	}
	_, err = s.Tell(s.ctx, rl, n.ID, m)
	s.must(err)
	if k := s.clock(d, ClockNotice, "FSIS"); k.State != ClockMet {
		t.Errorf("%+v", k)
	}
	_, err = s.NoticeReceived(s.ctx, key, n.ID, NewMessage{At: march(28, 11, 55), Reference: "D-77"})
	s.must(err)
	if _, err = s.AmendNotice(s.ctx, rl, n.ID, m); !isFault(err, fault.Refused, "transition-not-allowed") {
		t.Errorf("amended by the same text: %v", err)
	}
	m.Text += ", and more"
	_, err = s.AmendNotice(s.ctx, rl, n.ID, m)
	s.must(err)
	last, err := s.EndNotices(s.ctx, rl, n.ID, NewMessage{At: march(28, 11, 59)})
	s.must(err)
	if last.State != string(NoticeDone) || len(last.Said) != 4 || *last.Said[2].Version != 2 {
		t.Errorf("%+v", last)
	}
	if got := s.codes(d); slices.Contains(got, "clock_running") {
		t.Errorf("in the way: %v", got)
	}
}

// That an authority need not be told is signed by two, of whom the second did not
// determine it; the exception of the registry is not for product that was handed on.
func TestAuthorityNeedNotBeTold(t *testing.T) {
	t.Parallel()
	s, d := shippedLot(t)
	rl := s.as(disposition.RegulatoryLiaison)
	_, err := s.Determine(s.ctx, rl, d.ID, "fda_rf", NewDetermination{Reason: "found in time", Grounds: "three_part_exception"})
	if !isFault(err, fault.Refused, "exception-not-met") || !strings.Contains(err.Error(), "North Quay Deli") { // RF-04
		t.Errorf("%v", err)
	}
	for _, a := range document.Authorities() {
		if !a.Asked() {
			s.determines(d, a.ID, NewDetermination{Reason: "it does not hurt anybody seriously", Grounds: "not_serious"})
		}
	}
	if n := s.notified(d, "fda_rf"); n.State != string(NotRequired) || n.ClockFrom != nil {
		t.Errorf("%+v", n)
	}
	if got := s.codes(d); slices.Contains(got, "notification_unassessed") {
		t.Errorf("in the way: %v", got)
	}
	if k := s.clock(d, ClockDetermination, "Reportable"); k == nil || k.State != ClockMet {
		t.Errorf("%+v", k)
	}
	if _, err := s.Determine(s.ctx, rl, d.ID, "fda_rf", NewDetermination{Reason: "it does not hurt anybody seriously", Grounds: "not_serious"}); !isFault(err, fault.Conflict, "already-determined") {
		t.Errorf("%v", err)
	}
}

// Of what is due at once people are told again, and after an hour it is missed.
func TestAtOnceIsMissedAfterAnHour(t *testing.T) {
	t.Parallel()
	k := Clock{StartedAt: march(1, 0, 0), DueAt: march(1, 0, 0), LateAfter: march(1, 1, 0)}
	for at, want := range map[time.Time]ClockState{march(1, 0, 59): ClockRunning, march(1, 1, 1): ClockMissed} {
		if k.settle(at); k.State != want {
			t.Errorf("%s at %v", k.State, at)
		}
	}
	for at, want := range map[time.Time]ClockState{march(1, 0, 59): ClockMet, march(1, 1, 1): ClockMetLate} {
		k.MetAt = &at
		if k.settle(march(2, 0, 0)); k.State != want {
			t.Errorf("%s when done at %v", k.State, at)
		}
	}
}

// A request for records has a clock of its own, from when it was made.
func TestRecordsAreAskedFor(t *testing.T) {
	t.Parallel()
	s, d := shippedLot(t)
	_, err := s.RecordsAsked(s.ctx, s.as(disposition.RegulatoryLiaison), d.ID, NewRequest{At: march(27, 9, 0), Whom: "an investigator", Asks: "where lot B went"})
	s.must(err)
	k := s.clock(d, ClockNotice, "records")
	if k == nil || k.State != ClockMissed || !k.DueAt.Equal(march(28, 9, 0)) { // TR-05: 24 h
		t.Fatalf("%+v", k)
	}
	_, err = s.Tell(s.ctx, s.as(disposition.RegulatoryLiaison), s.notified(d, "records_request").ID, NewMessage{At: march(28, 11, 0), Whom: "an investigator", Method: "e-mail", Person: "liaison", Text: "the sheet"})
	s.must(err)
	if k = s.clock(d, ClockNotice, "records"); k.State != ClockMetLate {
		t.Errorf("%+v", k)
	}
}
