package workflow

import (
	"context"
	"encoding/hex"
	"fmt"
	"slices"

	"lastgood/policy/balance"
	"lastgood/policy/disposition"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// Reason is something that stands in the way of closing.
type Reason struct {
	Code   string `json:"code"`   // stable (design notes on the procedure, §9)
	Detail string `json:"detail"` // a sentence
	Link   string `json:"link"`   // where it is mended
}

// ways are all that may stand in the way, each with its own look at the deviation;
// every one has its say, so that whoever closes hears everything at once.
var ways = []func(context.Context, *pg.Tx, *docket) ([]Reason, error){
	holdsInTheWay, decisionsInTheWay, balanceInTheWay, verdictsInTheWay, traceInTheWay,
}

// inTheWay returns every reason that stands in the way of closing.
func inTheWay(ctx context.Context, tx *pg.Tx, c *docket) ([]Reason, error) {
	out := []Reason{}
	for _, look := range ways {
		more, err := look(ctx, tx, c)
		if err != nil {
			return nil, err
		}
		out = append(out, more...)
	}
	return out, nil
}

// InTheWay returns every reason that stands in the way of closing a deviation.
func (s *Service) InTheWay(ctx context.Context, sc pg.Scope, id DeviationID) ([]Reason, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]Reason, error) {
		c, err := docketAt(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		return inTheWay(ctx, tx, c)
	})
}

func holdsInTheWay(_ context.Context, _ *pg.Tx, c *docket) (out []Reason, _ error) {
	for _, h := range c.holds {
		if c.toldOf(h) {
			continue
		}
		name := h.LotCode
		if h.Portion != "" {
			name += " / " + h.Portion
		}
		out = append(out, Reason{"open_hold", "the hold on " + name + " still stands", fmt.Sprintf("/v1/holds/%d", h.ID)})
	}
	return out, nil
}

// toldOf says whether another reason says already what the hold waits for: that
// what was decided of the portion is not carried out, or that nothing doubts its
// lot any more.
func (c *docket) toldOf(h hold.Hold) bool {
	i := slices.IndexFunc(c.portions, func(p lot.Portion) bool { return p.Lot == h.Lot && p.Label == h.Portion })
	if i < 0 {
		return false
	}
	p := c.portions[i]
	dec, has := c.decision(p.ID)
	if has && dec.State != decision.Executed {
		return slices.ContainsFunc(c.toDecide(), func(o lot.Portion) bool { return o.ID == p.ID })
	}
	return c.finding(p.Lot).Verdict == "" && p.State == "on_hold"
}

func decisionsInTheWay(_ context.Context, _ *pg.Tx, c *docket) (out []Reason, _ error) {
	link := fmt.Sprintf("/v1/deviations/%d/portions", c.d.ID)
	for _, p := range c.toDecide() {
		dec, has := c.decision(p.ID)
		if !has {
			code := "no_disposition"
			if p.OutOf != nil {
				code = "retrieved_undisposed"
			}
			out = append(out, Reason{code, "nothing was decided of " + portionName(p), link})
			continue
		}
		if o, ok := c.option(p, dec.Kind); !ok || !o.Allowed {
			out = append(out, Reason{"disposition_not_allowed", fmt.Sprintf("the %s of %s was carried out and is not allowed by what is known now: %s", dec.Kind, portionName(p), o.Why), link})
		}
		if r, open := c.stepLeft(p, dec); open {
			out = append(out, r)
		}
	}
	for _, d := range c.unaccounted() {
		if r, ok := c.record(d.Kind, d.ID); !ok || !r.Complete() {
			out = append(out, Reason{"missing_signature", "what is unaccounted of lot " + d.Subjects[0] + " is to be signed for", fmt.Sprintf("/v1/records/%s/%d", d.Kind, d.ID)})
		}
	}
	return out, nil
}

// stepLeft is the next thing that a disposition waits for, if there is one: what
// comes after it cannot be mended before.
func (c *docket) stepLeft(p lot.Portion, dec decision.Decision) (Reason, bool) {
	for _, kind := range []signoff.Kind{signoff.Disposition, signoff.Execution} {
		r, ok := c.record(kind, int64(dec.ID))
		switch {
		case kind == signoff.Execution && dec.State != decision.Executed:
			return Reason{"not_carried_out", fmt.Sprintf("the %s of %s was not carried out whole", dec.Kind, portionName(p)), fmt.Sprintf("/v1/dispositions/%d", dec.ID)}, true
		case !ok || !r.Complete():
			detail := fmt.Sprintf("the %s of %s waits for %s", kind, portionName(p), whoIsMissing(r))
			if dec.State != decision.Executed {
				detail += ", and is to be carried out then"
			}
			return Reason{"missing_signature", detail, fmt.Sprintf("/v1/records/%s/%d", kind, dec.ID)}, true
		}
	}
	return Reason{}, false
}

func whoIsMissing(r signoff.Record) string {
	open := r.Open()
	if len(open) == 0 {
		return "somebody to sign it"
	}
	return string(open[0].Role)
}

func balanceInTheWay(_ context.Context, _ *pg.Tx, c *docket) (out []Reason, _ error) {
	link := fmt.Sprintf("/v1/deviations/%d/balance", c.d.ID)
	for _, b := range c.balances() {
		if b.Statement.Closing != balance.CannotClose {
			continue
		}
		for _, f := range b.Findings {
			out = append(out, Reason{"mass_balance", f.Detail, link})
		}
	}
	return out, nil
}

func verdictsInTheWay(_ context.Context, _ *pg.Tx, c *docket) (out []Reason, _ error) {
	for _, f := range c.findings {
		if f.Verdict == "" && slices.ContainsFunc(c.portionsOf(f.LotID), func(p lot.Portion) bool { return p.State == "on_hold" }) {
			out = append(out, Reason{"verdict_unknown_unresolved", "lot " + f.Lot + " is held, and the last run does not doubt it: QA lifts the hold", fmt.Sprintf("/v1/deviations/%d", c.d.ID)})
		}
	}
	return out, nil
}

func traceInTheWay(_ context.Context, _ *pg.Tx, c *docket) (out []Reason, _ error) {
	if c.d.RetraceDue != nil {
		out = append(out, Reason{"newer_trace_exists", "something newer is known than the last run", fmt.Sprintf("/v1/deviations/%d/runs", c.d.ID)})
	}
	if c.d.State != Verifying && c.d.State != Closed {
		out = append(out, Reason{"transition-not-allowed", "the deviation is " + string(c.d.State) + ": it is closed from verifying", fmt.Sprintf("/v1/deviations/%d", c.d.ID)})
	}
	return out, nil
}

// signedClosing is what the two who close sign: all that was signed, by digest.
type signedClosing struct {
	Deviation int64        `json:"deviation"`
	Reopened  int          `json:"reopened"` // how often before
	Findings  string       `json:"findings_sha256"`
	Records   []closedItem `json:"records"`
	Caution   string       `json:"caution"`
}

type closedItem struct {
	Kind    signoff.Kind `json:"kind"`
	ID      int64        `json:"id"`
	Version int          `json:"version"`
	SHA256  string       `json:"sha256"`
}

func (c *docket) closingDraft(why string) signoff.Draft {
	w := signedClosing{Deviation: int64(c.d.ID), Reopened: c.d.Reopened, Findings: hex.EncodeToString(c.digest), Records: []closedItem{}, Caution: caution}
	for _, r := range c.records {
		if r.Complete() && r.Kind != signoff.Closing {
			w.Records = append(w.Records, closedItem{r.Kind, r.ID, r.Version, hex.EncodeToString(r.Digest)})
		}
	}
	return signoff.Draft{Kind: signoff.Closing, ID: int64(c.d.ID), Deviation: int64(c.d.ID), Stream: c.d.stream(), What: w, Run: c.run, Policy: c.policy.version, Reason: why,
		Seats: []signoff.Seat{
			{Role: disposition.QALead, Deed: disposition.ClosedDeviation, Meaning: "closes the deviation"},
			{Role: disposition.Verifier, Deed: disposition.VerifiedClosing, Meaning: "has verified that it may be closed"},
		}}
}

// AskToClose puts the closing up for signing. With anything in the way it is
// refused, and says everything at once.
func (s *Service) AskToClose(ctx context.Context, sc pg.Scope, id DeviationID) (signoff.Record, error) {
	return do(ctx, s, sc, "ask to close", map[string]any{"deviation": id}, statusCreated, func(tx *pg.Tx) (r signoff.Record, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return r, err
		}
		if err := asA(ctx, tx, disposition.QALead, disposition.Verifier, disposition.QualifiedPerson); err != nil {
			return r, err
		}
		if d.State == Closed {
			return r, fault.New(fault.Refused, "already-closed", "deviation %d is closed: there is nothing left to close", d.ID)
		}
		c, err := docketOf(ctx, tx, d)
		if err != nil {
			return r, err
		}
		reasons, err := inTheWay(ctx, tx, c)
		if err != nil {
			return r, err
		}
		if len(reasons) > 0 {
			return r, notClosable(reasons)
		}
		return signoff.Put(ctx, tx, c.closingDraft("what is closed has changed"))
	})
}

// Unclosable is everything that stands in the way of closing.
type Unclosable struct{ Reasons []Reason }

// Error counts the reasons and says the first.
func (u *Unclosable) Error() string {
	return fmt.Sprintf("%d reasons stand in the way; the first: %s", len(u.Reasons), u.Reasons[0].Detail)
}

func notClosable(list []Reason) error {
	u := &Unclosable{list}
	return &fault.Error{Kind: fault.Refused, Rule: "not-closable", Detail: u.Error(), Err: u}
}

func init() {
	then[signoff.Closing] = closeNow
}

// closeNow closes when both have signed, if nothing has come in the way.
func closeNow(ctx context.Context, tx *pg.Tx, d *Deviation, r signoff.Record) error {
	c, err := docketOf(ctx, tx, *d)
	if err != nil {
		return err
	}
	reasons, err := inTheWay(ctx, tx, c)
	if err != nil {
		return err
	}
	if len(reasons) > 0 {
		return notClosable(reasons)
	}
	f, err := factsOf(ctx, tx, *d)
	if err != nil {
		return err
	}
	f.ClosingSigned, f.InTheWay = true, len(reasons)
	return fire(ctx, tx, d, Close, f)
}

// Reopen reopens a closed deviation for a reason that a person gives: an illness, a
// complaint, an agency that disagrees, a decision found wrong. It is traced again.
func (s *Service) Reopen(ctx context.Context, sc pg.Scope, id DeviationID, trigger, reason string) (Deviation, error) {
	request := map[string]any{"deviation": id, "trigger": trigger, "reason": reason}
	return do(ctx, s, sc, "reopen", request, statusDone, func(tx *pg.Tx) (d Deviation, err error) {
		if !slices.Contains(Triggers, trigger) {
			return d, fault.New(fault.Invalid, "unknown-word", "a trigger is one of %s", fault.Words(Triggers)).In("trigger")
		}
		if reason == "" {
			return d, fault.New(fault.Invalid, "reason-missing", "say why").In("reason")
		}
		if d, err = lockDeviation(ctx, tx, id); err != nil {
			return d, err
		}
		if err := asA(ctx, tx, disposition.QALead, disposition.Verifier, disposition.QualifiedPerson, disposition.RegulatoryLiaison); err != nil {
			return d, err
		}
		why := trigger + ": " + reason
		const ask = `update deviation set reopen_asked = $3, retrace_due = coalesce(retrace_due, $4), evidence_count = evidence_count + 1
			where plant_id = $1 and deviation_id = $2 and state = 'closed'`
		res, err := tx.ExecContext(ctx, ask, tx.Plant, id, why, tx.Now)
		if err != nil {
			return d, err
		}
		if n, _ := res.RowsAffected(); n == 0 {
			r := &Refusal{State: d.State, Event: Reopen, Allowed: deviationTrack.Allowed(d.State)}
			return d, &fault.Error{Kind: fault.Refused, Rule: "transition-not-allowed", Detail: r.Error(), Err: r}
		}
		d.ReopenAsked, d.RetraceDue = &why, &tx.Now
		return d, advance(ctx, tx, &d)
	})
}

// Triggers are what a person may reopen a deviation for (design notes on the
// procedure, §10); what is recorded reopens it by itself.
var Triggers = []string{"reference_found_bad", "late_record", "test_amended", "illness_or_complaint", "same_cause_again", "identity_or_unit_error",
	"agency_asks", "wrong_decision", "rework_found", "quantity_error", "signature_invalid", "wrong_limit_version", "earlier_onset"}

// Cancel puts up for signing that the failed check was no check: another one of
// the untouched instrument, by a valid method and two people, shows it. The check
// that failed stays in the log.
func (s *Service) Cancel(ctx context.Context, sc pg.Scope, id DeviationID, repeat int64, reason string) (signoff.Record, error) {
	request := map[string]any{"deviation": id, "repeat": repeat, "reason": reason}
	return do(ctx, s, sc, "cancel", request, statusCreated, func(tx *pg.Tx) (r signoff.Record, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return r, err
		}
		if err := asA(ctx, tx, disposition.QALead, disposition.CalibrationTechnician); err != nil {
			return r, err
		}
		w, err := mayCancel(ctx, tx, d, repeat, reason)
		if err != nil {
			return r, err
		}
		r, err = signoff.Put(ctx, tx, signoff.Draft{Kind: signoff.Cancellation, ID: int64(d.ID), Deviation: int64(d.ID), Stream: d.stream(), What: w, Reason: "another reason",
			Seats: []signoff.Seat{
				{Role: disposition.CalibrationTechnician, Deed: disposition.Evaluated, Meaning: "says that the failed check was no check, and why"},
				{Role: disposition.QALead, Deed: disposition.Approved, Meaning: "agrees that nothing was in doubt"},
				{Role: disposition.Verifier, Deed: disposition.Verified, Meaning: "has verified it by the repeated check"},
			}})
		if err != nil {
			return r, err
		}
		return r, trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "cancellation.proposed", Subject: fmt.Sprint(d.ID), Version: r.Version, After: w, Reason: reason})
	})
}
