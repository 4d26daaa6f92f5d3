package workflow

import (
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/actor"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

// shippedLot is a plant whose thermometer read 3 °C too high over lot B, of which
// 60 kg are in control and 40 kg went to two consignees. It is evaluated.
func shippedLot(t *testing.T) (*site, Deviation) {
	s := newSite(t)
	s.employ()
	s.makes("A", "B")
	s.reads(cooked("T-1", march(3, 1, 0), 80, "A"), cooked("T-1", march(3, 2, 0), 72, "B"))
	kg := func(n string) *unit.Quantity { return &unit.Quantity{Amount: n, Unit: "kg"} }
	s.added(s.AddShipments(s.ctx, s.sc, []lot.Shipment{
		{Shipment: "S-1", Lot: "B", Quantity: kg("25"), ShippedAt: march(3, 9, 0), Consignee: "North Quay Deli"},
		{Shipment: "S-2", Lot: "B", Quantity: kg("15"), ShippedAt: march(3, 10, 0), Consignee: "Harbour Canteen"}}))
	d := s.fails("T-1", march(4, 6, 0))
	s.contained(d)
	s.evaluates(d)
	return s, d
}

// thePack is a pack that says everything.
func thePack() RecallPack {
	return RecallPack{Retrieve: true, Reason: "the limit may have been missed", Kind: "recall", Depth: "retail", Warning: "none", Discovery: "an accuracy check",
		Hazard: HazardEvaluation{"none known", "none known", "the elderly", "serious", "possible", "illness within days"},
		Level:  "A", Contact: "the liaison, by telephone", Text: "Stop distribution of lot B and call us."}
}

func (s *site) recallIs(d Deviation, want State) RecallDesk {
	s.Helper()
	k, err := s.Recall(s.ctx, s.sc, d.ID)
	s.must(err)
	if State(k.State) != want {
		s.Errorf("the recall is %s, want %s", k.State, want)
	}
	return k
}

// decides draws up a pack and lets everyone sign it.
func (s *site) decides(d Deviation, p RecallPack) {
	s.Helper()
	_, err := s.DrawUpRecall(s.ctx, s.as(disposition.RegulatoryLiaison), d.ID, p)
	s.must(err)
	s.recallIs(d, RecallDeciding)
	if n := s.signAll(d, signoff.Recall); n != 3 {
		s.Errorf("signed by %d", n)
	}
}

func (s *site) tells(d Deviation, who ...string) error {
	var list []NewConsigneeNotice
	for _, c := range who {
		list = append(list, NewConsigneeNotice{Consignee: c, Version: 1, Method: "telephone", Whom: "the manager", Person: "liaison", At: s.db.Now().Add(-time.Minute)})
	}
	_, err := s.TellConsignees(s.ctx, s.as(disposition.RegulatoryLiaison), d.ID, list)
	return err
}

func (s *site) checksConsignee(d Deviation, who string, passed bool) {
	s.Helper()
	_, err := s.CheckConsignees(s.ctx, s.as(disposition.Verifier), d.ID, []NewEffectivenessCheck{{Consignee: who, Passed: passed, Method: "visit", Person: "verifier", Note: "seen", At: s.db.Now()}})
	s.must(err)
}

func (s *site) letter(ref string) NewLetter { return NewLetter{Reference: ref, At: s.db.Now()} }

// The whole way of a recall: signed, told, answered, checked by a drawn sample, one
// told again, retrieved, disposed of, ended by the agency. What stands in the way of
// closing follows.
func TestRecallFromDecisionToTermination(t *testing.T) {
	t.Parallel()
	s, d := shippedLot(t)
	if got := s.codes(d); !slices.Contains(got, "recall_not_terminated") || !slices.Contains(got, "notification_unassessed") || slices.Contains(got, "clock_running") {
		t.Errorf("in the way: %v", got)
	}
	s.decides(d, thePack())
	s.recallIs(d, RecallDecided)
	s.must(s.tells(d, "North Quay Deli"))
	s.recallIs(d, RecallDecided)
	s.must(s.tells(d, "Harbour Canteen"))
	s.recallIs(d, RecallNotified)
	wms := pg.Scope{Plant: s.sc.Plant, By: actor.Actor{ID: "warehouse", Kind: actor.Key}}
	_, err := s.ConsigneesAnswered(s.ctx, wms, d.ID, []NewResponse{
		{Lot: "B", Shipment: "S-1", OnHand: "0", Returned: "20", Destroyed: "0", SoldOn: "5", Unit: "kg", Person: "the manager", At: s.db.Now()},
		{Lot: "B", Shipment: "S-2", OnHand: "0", Returned: "15", Destroyed: "0", SoldOn: "0", Unit: "kg", Person: "the cook", At: s.db.Now()}})
	s.must(err)
	s.recallIs(d, Retrieving)
	seed := int64(7)
	_, err = s.DrawRecallSample(s.ctx, s.as(disposition.Verifier), d.ID, &seed)
	s.must(err)
	k := s.recallIs(d, EffectivenessChecking)
	if diff := cmp.Diff([]string{"Harbour Canteen", "North Quay Deli"}, []string(k.Sample.Drawn)); diff != "" { // 21 CFR 7.42(b)(3): A is everyone
		t.Error(diff)
	}
	s.checksConsignee(d, "Harbour Canteen", false)
	s.recallIs(d, RecallDecided)
	s.must(s.tells(d, "Harbour Canteen"))
	s.recallIs(d, EffectivenessChecking)
	s.checksConsignee(d, "Harbour Canteen", true)
	s.checksConsignee(d, "North Quay Deli", true)

	_, err = s.RequestRecallTermination(s.ctx, s.as(disposition.RegulatoryLiaison), d.ID, s.letter("L-1"))
	var refusal *Refusal
	if !errors.As(err, &refusal) || !slices.Equal(refusal.Missing, []string{allDisposedOf.Name}) {
		t.Errorf("termination asked with product out: %v", err)
	}
	s.retrieves(d)
	k = s.recallIs(d, EffectivenessChecking)
	for _, l := range k.Ledger {
		if len(l.Differences) > 0 || !l.Executed {
			t.Errorf("%s: %v, executed %v", l.Consignee, l.Differences, l.Executed)
		}
	}
	_, err = s.RequestRecallTermination(s.ctx, s.as(disposition.RegulatoryLiaison), d.ID, s.letter("L-1"))
	s.must(err)
	_, err = s.TerminateRecall(s.ctx, s.as(disposition.RegulatoryLiaison), d.ID, s.letter("A-1"))
	s.must(err)
	s.recallIs(d, RecallTerminated)
	if got := s.codes(d); slices.Contains(got, "recall_not_terminated") || slices.Contains(got, "distribution_record_missing") {
		t.Errorf("in the way: %v", got)
	}
}

// retrieves lets everything that left come back as the consignees said, and what
// came back be destroyed.
func (s *site) retrieves(d Deviation) {
	s.Helper()
	s.must(s.proposes(d, "A", "", disposition.Release))
	s.must(s.proposes(d, "B", "", disposition.Destroy))
	s.must(s.proposes(d, "B", "shipment S-1", disposition.Retrieve))
	s.must(s.proposes(d, "B", "shipment S-2", disposition.Retrieve))
	s.signAll(d, signoff.Disposition)
	s.is(d, DispositionSigned, false)
	report := func(shipment, fate, kg string, last bool) {
		c := s.docket(d)
		p, err := c.find("B", "shipment "+shipment)
		s.must(err)
		dec, _ := c.decision(p.ID)
		_, err = s.ReportExecution(s.ctx, s.as(disposition.LineSupervisor), dec.ID, NewReport{Fate: fate, Quantity: unit.Quantity{Amount: kg, Unit: "kg"},
			At: s.db.Now(), Place: "the yard", Reason: "sold on and eaten", Last: last})
		s.must(err)
	}
	report("S-1", "accounted_unrecoverable", "5", false)
	report("S-1", "retrieved", "20", true)
	s.cameBack(d)
	report("S-2", "retrieved", "15", true)
	s.cameBack(d)
	s.carriesOut(d)
	s.signAll(d, signoff.Execution)
	for _, c := range s.docket(d).decided {
		if c.State != decision.Executed {
			s.Errorf("disposition %d is %s", c.ID, c.State)
		}
	}
}

// A decision not to retrieve is signed too, and is to be taken again when more is
// known to have left.
func TestRecallSignedNo(t *testing.T) {
	t.Parallel()
	s, d := shippedLot(t)
	s.decides(d, RecallPack{Reason: "all of it is cooked again before it is eaten"})
	s.recallIs(d, RecallDecidedNot)
	if slices.Contains(s.codes(d), "recall_not_terminated") {
		t.Error("what was decided stands in the way")
	}
	s.added(s.AddShipments(s.ctx, s.sc, []lot.Shipment{{Shipment: "S-3", Lot: "B", ShippedAt: march(3, 11, 0), Consignee: ""}}))
	s.trace(d)
	got := s.codes(d)
	for _, code := range []string{"recall_not_terminated", "distribution_record_missing"} {
		if !slices.Contains(got, code) {
			t.Errorf("in the way: %v, want %s", got, code)
		}
	}
	if err := s.tells(d, "North Quay Deli"); !isFault(err, fault.Refused, "transition-not-allowed") {
		t.Errorf("told without a decision: %v", err)
	}
}

// What a pack, a notice, an answer and a check must say; each refusal names its
// rule, and nothing is written.
func TestRecallDeskRefuses(t *testing.T) {
	t.Parallel()
	s, d := shippedLot(t)
	rl := s.as(disposition.RegulatoryLiaison)
	for rule, change := range map[string]func(*RecallPack){
		"reason-missing":     func(p *RecallPack) { p.Reason = " " },
		"unknown-word":       func(p *RecallPack) { p.Kind = "removal" },
		"pack-incomplete":    func(p *RecallPack) { p.Hazard.Groups = "" },
		"not-stock-recovery": func(p *RecallPack) { p.Kind = "stock_recovery"; p.Own = []string{"North Quay Deli"} },
	} {
		p := thePack()
		change(&p)
		if _, err := s.DrawUpRecall(s.ctx, rl, d.ID, p); err == nil || ruleIn(err) != rule {
			t.Errorf("%s: %v", rule, err)
		}
	}
	for _, p := range []RecallPack{{Level: "B"}, {Level: "B", Share: 10}, {Level: "C", Share: 10}, {Level: "F"}} {
		q := thePack()
		q.Level, q.Share = p.Level, p.Share
		if _, err := s.DrawUpRecall(s.ctx, rl, d.ID, q); !isFault(err, fault.Invalid, "unknown-word") {
			t.Errorf("level %s with %d: %v", p.Level, p.Share, err)
		}
	}
	own := thePack()
	own.Kind, own.Own = "stock_recovery", []string{"North Quay Deli", "Harbour Canteen"}
	if _, err := s.DrawUpRecall(s.ctx, rl, d.ID, own); err != nil {
		t.Errorf("a stock recovery of what the firm has itself: %v", err)
	}
	if _, err := s.DrawUpRecall(s.ctx, s.as(disposition.LineSupervisor), d.ID, own); !isFault(err, fault.Forbidden, "role-not-held") {
		t.Errorf("by a supervisor: %v", err)
	}
	key := pg.Scope{Plant: s.sc.Plant, By: actor.Actor{ID: "k", Kind: actor.Key}}
	if _, err := s.DrawUpRecall(s.ctx, key, d.ID, own); !isFault(err, fault.Forbidden, "person-required") {
		t.Errorf("by a key: %v", err)
	}
	s.signAll(d, signoff.Recall)
	var rows fault.Rows
	if err := s.tells(d, "Nobody & Sons"); !errors.As(err, &rows) || rows[0].Rule != "unknown-consignee" {
		t.Errorf("%v", err)
	}
	s.must(s.tells(d, "North Quay Deli", "Harbour Canteen"))
	_, err := s.ConsigneesAnswered(s.ctx, key, d.ID, []NewResponse{{Lot: "B", Shipment: "S-9", Person: "x", At: s.db.Now()},
		{Lot: "B", Shipment: "S-1", Unit: "cases", Person: "x", At: s.db.Now()}, {Lot: "B", Shipment: "S-1", Unit: "kg", OnHand: "1", Returned: "-1", Destroyed: "0", SoldOn: "0", Person: "x", At: s.db.Now()}})
	var got []string
	if errors.As(err, &rows) {
		for _, r := range rows {
			got = append(got, r.Rule+" "+r.Field)
		}
	}
	if diff := cmp.Diff([]string{"unknown-shipment shipment", "unknown-unit quantity_unit", "not-a-quantity returned"}, got); diff != "" {
		t.Error(diff)
	}
	if _, err := s.RecordRecallClass(s.ctx, rl, d.ID, NewLetter{Class: "IV", Reference: "F-1", At: s.db.Now()}); !isFault(err, fault.Invalid, "unknown-word") {
		t.Errorf("class IV: %v", err)
	}
	if k := s.recallIs(d, RecallNotified); k.Class != nil || k.Sample != nil {
		t.Errorf("%+v", k)
	}
}

// A status report counts what RC-13 asks for and says when the next is due, by the
// plant's calendar.
func TestRecallStatus(t *testing.T) {
	t.Parallel()
	s, d := shippedLot(t)
	s.decides(d, thePack())
	s.must(s.tells(d, "North Quay Deli"))
	_, err := s.ReportRecallStatus(s.ctx, s.as(disposition.RegulatoryLiaison), d.ID, NewStatusReport{SentTo: "the agency", Completion: "by the 10th", NextDays: 28, At: march(28, 11, 0)})
	s.must(err)
	k := s.recallIs(d, RecallDecided)
	body := string(k.Statuses[0].Body)
	for _, part := range []string{`"consignees":2`, `"notified":1`, `"not_responded":["Harbour Canteen","North Quay Deli"]`, `"telephone":1`} {
		if !strings.Contains(body, part) {
			t.Errorf("%s lacks %s", body, part)
		}
	}
	if want := time.Date(2025, 4, 26, 0, 0, 0, 0, time.UTC); k.NextDue == nil || !k.NextDue.Equal(want) { // RC-13: 4 weeks after the 28th, until the day is over
		t.Errorf("next due %v, want %v", k.NextDue, want)
	}
}

// cameBack counts what came back under its hold, and decides that it is destroyed.
func (s *site) cameBack(d Deviation) {
	s.Helper()
	s.is(d, Detected, false)
	for _, h := range s.docket(d).holds {
		if h.AcknowledgedAt == nil {
			_, err := s.AcknowledgeHold(s.ctx, s.sc, h.ID, h.Version, unit.Quantity{Amount: *h.Quantity, Unit: *h.Unit})
			s.must(err)
		}
	}
	c := s.docket(d)
	for _, p := range c.portions {
		if _, has := c.decision(p.ID); p.Place == lot.Retrieved && !has {
			s.must(s.proposes(d, "B", p.Label, disposition.Destroy))
		}
	}
	s.signAll(d, signoff.Disposition)
}
