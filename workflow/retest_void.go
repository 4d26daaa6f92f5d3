package workflow

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/retest"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// signedVoid is what is signed where a result does not count, or an order is taken
// back.
type signedVoid struct {
	Retest  int64    `json:"retest"`
	Portion string   `json:"portion"`
	Analyte string   `json:"analyte"`
	Result  int64    `json:"result,omitzero"` // 0: the whole order
	Results []string `json:"results"`         // that would not count any more
	Said    string   `json:"said"`            // what they say by the plan
	Reason  string   `json:"reason"`
	Caution string   `json:"caution"`
}

func voidDraft(d Deviation, t Retest, v retest.Void, why string) signoff.Draft {
	w := signedVoid{Retest: int64(t.ID), Portion: t.name(), Analyte: t.Analyte, Results: []string{}, Said: t.Outcome.Reason, Reason: v.Reason, Caution: caution}
	subject := fmt.Sprintf("re-test %d", t.ID)
	if v.Result != nil {
		w.Result, w.Said = int64(*v.Result), ""
		subject = fmt.Sprintf("result %d", *v.Result)
	}
	for _, r := range t.Results {
		if r.Stands() && (v.Result == nil || *v.Result == r.ID) {
			w.Results = append(w.Results, resultWords(r))
		}
	}
	return signoff.Draft{Kind: signoff.Void, ID: v.ID, Deviation: int64(d.ID), Stream: d.stream(), Subjects: []string{subject}, What: w, Reason: why,
		Seats: []signoff.Seat{
			{Role: disposition.QALead, Deed: disposition.Proposed, Meaning: "says that it does not count, and why"},
			{Role: disposition.Verifier, Deed: disposition.Verified, Meaning: "has verified that it must not count"},
		}}
}

// AskToVoid puts up for signing that a result does not count.
func (s *Service) AskToVoid(ctx context.Context, sc pg.Scope, id retest.ResultID, reason string) (signoff.Record, error) {
	request := map[string]any{"result": id, "reason": reason}
	return do(ctx, s, sc, "ask to void", request, statusCreated, func(tx *pg.Tx) (signoff.Record, error) {
		r, err := retest.GetResult(ctx, tx, id)
		if err != nil {
			return signoff.Record{}, err
		}
		return askToVoid(ctx, tx, retest.Void{Retest: r.Retest, Result: &id, Reason: strings.TrimSpace(reason)})
	})
}

// AskToCancelRetest puts up for signing that a re-test is taken back.
func (s *Service) AskToCancelRetest(ctx context.Context, sc pg.Scope, id retest.ID, reason string) (signoff.Record, error) {
	request := map[string]any{"retest": id, "reason": reason}
	return do(ctx, s, sc, "ask to cancel a re-test", request, statusCreated, func(tx *pg.Tx) (signoff.Record, error) {
		return askToVoid(ctx, tx, retest.Void{Retest: id, Reason: strings.TrimSpace(reason)})
	})
}

func askToVoid(ctx context.Context, tx *pg.Tx, v retest.Void) (r signoff.Record, err error) {
	o, err := retest.Get(ctx, tx, v.Retest)
	if err != nil {
		return r, err
	}
	d, err := lockDeviation(ctx, tx, DeviationID(o.Deviation))
	if err != nil {
		return r, err
	}
	if err := asA(ctx, tx, disposition.QALead); err != nil {
		return r, err
	}
	if v.Reason == "" {
		return r, fault.New(fault.Invalid, "reason-missing", "say why it does not count").In("reason")
	}
	t, err := getRetest(ctx, tx, v.Retest)
	if err != nil {
		return r, err
	}
	if err := mayVoid(t, v); err != nil {
		return r, err
	}
	if v, err = retest.AskVoid(ctx, tx, v); err != nil {
		return r, err
	}
	if r, err = signoff.Put(ctx, tx, voidDraft(d, t, v, "another reason")); err != nil {
		return r, err
	}
	return r, trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "retest.void_proposed", Subject: t.name(), Version: t.Version,
		After: map[string]any{"retest": t.ID, "result": v.Result, "void": v.ID, "record_sha256": r.Digest}, Reason: v.Reason})
}

// mayVoid refuses what does not count already, and an order that has decided: what
// the plan decided is undone only by a result that was wrong.
func mayVoid(t Retest, v retest.Void) error {
	if v.Result == nil {
		if _, ok := retestTrack.find(State(t.State), "take_back"); !ok {
			r := &Refusal{State: State(t.State), Event: "take_back", Allowed: retestTrack.Allowed(State(t.State))}
			return &fault.Error{Kind: fault.Refused, Rule: "transition-not-allowed", Detail: r.Error(), Err: r}
		}
		return nil
	}
	i := slices.IndexFunc(t.Results, func(r retest.Result) bool { return r.ID == *v.Result })
	if i < 0 || !t.Results[i].Stands() || t.Results[i].VoidedBy != "" || t.Cancelled {
		return fault.New(fault.Refused, "not-standing", "result %d does not count any more", *v.Result)
	}
	return nil
}

func init() {
	then[signoff.Void] = voidNow
}

// voidNow lets a result or an order not count any more.
func voidNow(ctx context.Context, tx *pg.Tx, d *Deviation, r signoff.Record) error {
	v, err := retest.GetVoid(ctx, tx, r.ID)
	if err != nil {
		return err
	}
	t, err := getRetest(ctx, tx, v.Retest)
	if err != nil {
		return err
	}
	if err := mayVoid(t, v); err != nil {
		return err
	}
	var who []string
	for _, s := range r.Signatures {
		who = append(who, s.Person)
	}
	if err := retest.SignVoid(ctx, tx, v.ID, strings.Join(who, ", ")); err != nil {
		return err
	}
	err = trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "retest.voided", Subject: t.name(), Version: t.Version,
		After: map[string]any{"retest": t.ID, "result": v.Result, "void": v.ID, "signed_by": who}, Reason: v.Reason})
	if err != nil {
		return err
	}
	return followTests(ctx, tx, d, "something of a re-test does not count any more")
}
