package workflow

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/signoff"
)

// option returns what is offered of a portion of a lot.
func (s *site) option(d Deviation, code string, kind disposition.Disposition) Option {
	s.Helper()
	list, err := s.PortionsOf(s.ctx, s.sc, d.ID)
	s.must(err)
	for _, p := range list {
		for _, o := range p.Options {
			if p.LotCode == code && o.Disposition == kind {
				return o
			}
		}
	}
	s.Fatalf("lot %s is offered no %s", code, kind)
	return Option{}
}

// What is offered names the signers whom the records then have, of the decision
// and of what was carried out, in order.
func TestOptionsNameTheSignersOfTheRecords(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	offered := map[string]Option{"A": s.option(d, "A", disposition.Release), "B": s.option(d, "B", disposition.Destroy)}
	for code, o := range offered {
		s.must(s.proposes(d, code, "", o.Disposition))
	}
	if o := s.option(d, "B", disposition.Release); o.Barred == (len(o.Decided) > 0) {
		t.Errorf("signers of what is barred, or none of what is not: %+v", o)
	}
	s.signAll(d, signoff.Disposition)
	s.carriesOut(d)
	for _, r := range s.records(d) {
		want := map[signoff.Kind][]signoff.Seat{}
		if r.Kind == signoff.Disposition || r.Kind == signoff.Execution {
			o := offered[r.Subjects[0]]
			want[signoff.Disposition], want[signoff.Execution] = o.Decided, o.Done
			if diff := cmp.Diff(want[r.Kind], r.Seats); diff != "" || len(r.Seats) == 0 {
				t.Errorf("%s of %s (-offered +signed):\n%s", r.Kind, r.Subjects[0], diff)
			}
		}
	}
	list, err := s.PortionsOf(s.ctx, s.sc, d.ID)
	s.must(err)
	for _, p := range list {
		if p.LotCode == "B" && p.Label == "" && p.Quantity != nil && p.Quantity.Rat().Sign() == 0 && len(p.Options) > 0 {
			t.Errorf("nothing is left of it, and it may be %+v", p.Options)
		}
	}
}

// A proposal that everyone has signed is signed, until it was carried out.
func TestDispositionIsSignedBeforeItIsExecuted(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	s.must(s.proposes(d, "A", "", disposition.Release))
	dec := s.docket(d).decided[0]
	is := func(want string) {
		t.Helper()
		story, err := s.Disposition(s.ctx, s.sc, dec.ID)
		s.must(err)
		list, err := s.PortionsOf(s.ctx, s.sc, d.ID)
		s.must(err)
		i := slices.IndexFunc(list, func(p PortionState) bool { return p.Decision != nil })
		if string(story.State) != want || string(list[i].Decision.State) != want {
			t.Errorf("%s, and with the portion %s, want %s", story.State, list[i].Decision.State, want)
		}
	}
	is("proposed")
	s.signAll(d, signoff.Disposition)
	is("signed")
	s.carriesOut(d)
	is("executed")
}

// A portion has one reason at a time: what is to be done for it next.
func TestClosingSaysOneThingOfAPortion(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	says := func(want ...string) {
		t.Helper()
		list, err := s.InTheWay(s.ctx, s.sc, d.ID)
		s.must(err)
		var got []string
		for _, r := range list {
			about := strings.Contains(r.Detail, " of A ") || strings.HasSuffix(r.Detail, " of A") || strings.Contains(r.Detail, "on A ")
			if about && r.Code != "mass_balance" {
				got = append(got, r.Code)
			}
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
	}
	says("open_hold", "no_disposition")
	s.must(s.proposes(d, "A", "", disposition.Release))
	says("missing_signature")
	s.signAll(d, signoff.Disposition)
	says("not_carried_out")
	s.carriesOut(d)
	says("missing_signature")
	s.signAll(d, signoff.Execution)
	says()
}

// A closing of which something has changed since it was asked for waits for nobody,
// and whoever signs it hears what to do.
func TestStaleClosingIsAskedForAgain(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	s.must(s.proposes(d, "A", "", disposition.Release))
	s.must(s.proposes(d, "B", "", disposition.Destroy))
	s.signAll(d, signoff.Disposition)
	s.carriesOut(d)
	s.signAll(d, signoff.Execution)
	s.corrects(d)
	old, err := s.AskToClose(s.ctx, s.as(disposition.QALead), d.ID)
	s.must(err)
	waits := func() bool {
		list, err := s.ToBeSigned(s.ctx, s.as(disposition.QALead))
		s.must(err)
		return slices.ContainsFunc(list, func(r signoff.Record) bool { return r.Kind == signoff.Closing })
	}
	if !waits() {
		t.Error("the closing waits for nobody")
	}
	_, err = s.AttachEvidence(s.ctx, s.as(disposition.QualifiedPerson), d.ID, NewEvidence{Lot: "A", Kind: disposition.ProductTest, Name: "test 9", Note: "none found"})
	s.must(err)
	s.signAll(d, signoff.Disposition, signoff.Execution)
	s.is(d, Verifying, false)
	if waits() {
		t.Error("a closing of what has changed waits to be signed")
	}
	err = s.signs(disposition.QALead, old)
	if !isFault(err, fault.Conflict, "record-changed") || !strings.Contains(err.Error(), "ask to close again, with POST /v1/deviations/") {
		t.Errorf("signing what has changed: %v", err)
	}
	_, err = s.AskToClose(s.ctx, s.as(disposition.QALead), d.ID)
	s.must(err)
	if !waits() {
		t.Error("the closing that was asked for again waits for nobody")
	}
	s.signAll(d, signoff.Closing)
	s.is(d, Closed, false)
	if _, err = s.AskToClose(s.ctx, s.as(disposition.QALead), d.ID); !isFault(err, fault.Refused, "already-closed") {
		t.Errorf("closing it once more: %v", err)
	}
}

// Whoever has no seat hears who has, and whoever lacks the role hears which do.
func TestRefusalsNameWhoMay(t *testing.T) {
	t.Parallel()
	s, d := twoLots(t)
	s.evaluates(d)
	s.must(s.proposes(d, "A", "", disposition.Release))
	r := s.records(d)[0]
	err := s.signs(disposition.LineSupervisor, r)
	if !isFault(err, fault.Refused, "not-a-signer") || !strings.Contains(err.Error(), "line_supervisor does not sign this record: it is signed by qa_lead, qualified_person") {
		t.Errorf("%v", err)
	}
	if err := s.signs(disposition.QualifiedPerson, r); !isFault(err, fault.Refused, "not-your-turn") {
		t.Errorf("out of turn: %v", err)
	}
	_, err = s.AskToClose(s.ctx, s.as(disposition.LineSupervisor), d.ID)
	if !isFault(err, fault.Forbidden, "role-not-held") || !strings.Contains(err.Error(), "qa_lead, verifier, qualified_person") {
		t.Errorf("%v", err)
	}
	err = s.proposes(d, "A", "", "sell")
	var rows fault.Rows
	if !errors.As(err, &rows) || rows[0].Rule != "unknown-word" || !strings.Contains(rows[0].Detail, "release, rework, reprocess, divert, destroy, retrieve") {
		t.Errorf("%v", err)
	}
	_, err = s.RecordVersions(s.ctx, s.sc, "opinion", 1)
	if !isFault(err, fault.NotFound, "unknown-record") || !strings.Contains(err.Error(), "disposition, execution") {
		t.Errorf("%v", err)
	}
}
