package workflow

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"lastgood/policy/disposition"
	"lastgood/workflow/actor"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// Proposal is what somebody proposes for a portion.
type Proposal struct {
	Lot         string                  `json:"lot"`
	Portion     string                  `json:"portion"` // empty: what no other portion names
	Disposition disposition.Disposition `json:"disposition"`
	Reason      string                  `json:"reason"`
	Receiver    string                  `json:"receiver"` // of what is diverted, with the use
	IntoLot     string                  `json:"into_lot"` // of what is reworked
	Because     string                  `json:"because"`  // why that lot leaves no doubt untraced: kill_step, limit_met; empty: it is in doubt too
}

// Propose proposes dispositions for portions, all of them or none. A proposal that
// stands for the portion is withdrawn by it. QA proposes; the records are then
// signed by those whom the table and the site's rules name.
func (s *Service) Propose(ctx context.Context, sc pg.Scope, id DeviationID, list []Proposal) ([]signoff.Record, error) {
	request := map[string]any{"deviation": id, "proposals": list}
	return do(ctx, s, sc, "propose", request, statusCreated, func(tx *pg.Tx) ([]signoff.Record, error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		if err := asA(ctx, tx, disposition.QALead); err != nil {
			return nil, err
		}
		if !slices.Contains([]State{Evaluating, AwaitingResults, DispositionProposed}, d.State) {
			r := &Refusal{State: d.State, Event: Propose, Allowed: deviationTrack.Allowed(d.State)}
			return nil, &fault.Error{Kind: fault.Refused, Rule: "transition-not-allowed", Detail: r.Error(), Err: r}
		}
		if err := nameShipped(ctx, tx, d); err != nil {
			return nil, err
		}
		c, err := docketOf(ctx, tx, d)
		if err != nil {
			return nil, err
		}
		var bad fault.Rows
		var out []signoff.Record
		for i, p := range list {
			r, err := c.propose(ctx, tx, p)
			if e, ok := err.(*fault.Error); ok {
				bad.Add(i, e)
				continue
			}
			if err != nil {
				return nil, err
			}
			out = append(out, r)
		}
		if bad != nil {
			return nil, bad
		}
		return out, advance(ctx, tx, &d)
	})
}

// asA lets only a person who holds one of the roles go on.
func asA(ctx context.Context, tx *pg.Tx, roles ...disposition.Role) error {
	if tx.By.Kind != actor.Person {
		return fault.New(fault.Forbidden, "person-required", "a person does this, never a key")
	}
	var said error
	for _, r := range roles {
		_, err := person.CapacityOf(ctx, tx, tx.By.ID, r)
		var f *fault.Error
		switch {
		case err == nil:
			return nil
		case len(roles) == 1:
			return err
		case said == nil && (!errors.As(err, &f) || f.Rule != "role-not-held"): // held, and lapsed: that is what is to be mended
			said = err
		}
	}
	if said == nil {
		said = fault.New(fault.Forbidden, "role-not-held", "this takes one of the roles %s, and %s holds none of them: an administrator grants roles",
			fault.Words(roles), tx.By.ID)
	}
	return said
}

func (c *docket) propose(ctx context.Context, tx *pg.Tx, n Proposal) (signoff.Record, error) {
	p, err := c.find(n.Lot, n.Portion)
	if err != nil {
		return signoff.Record{}, err
	}
	if err := c.mayPropose(n, p); err != nil {
		return signoff.Record{}, err
	}
	if old, has := c.decision(p.ID); has {
		if len(c.doneOf(old.ID)) > 0 {
			return signoff.Record{}, fault.New(fault.Refused, "carried-out", "the disposition of %s is being carried out, or was", portionName(p))
		}
		if err := decision.Move(ctx, tx, old.ID, decision.Withdrawn, "another was proposed"); err != nil {
			return signoff.Record{}, err
		}
	}
	dec, err := decision.Add(ctx, tx, decision.Decision{Deviation: int64(c.d.ID), Portion: p.ID, Kind: n.Disposition, Reason: strings.TrimSpace(n.Reason),
		Receiver: n.Receiver, IntoLot: n.IntoLot, Because: n.Because})
	if err != nil {
		return signoff.Record{}, err
	}
	o, _ := c.option(p, n.Disposition)
	r, err := signoff.Put(ctx, tx, c.dispositionDraft(dec, p, o, ""))
	if err != nil {
		return r, err
	}
	if err := decideOn(ctx, tx, &p); err != nil {
		return r, err
	}
	return r, trail.Append(ctx, tx, trail.Entry{Stream: c.d.stream(), Action: "disposition.proposed", Subject: portionName(p), Version: 1,
		After: map[string]any{"disposition": dec.ID, "is": n.Disposition, "record_sha256": r.Digest, "policy_version": c.policy.version, "run": c.run}, Reason: dec.Reason})
}

// decideOn lets a portion be decided on, if it is not already or waits for a test.
func decideOn(ctx context.Context, tx *pg.Tx, p *lot.Portion) error {
	switch {
	case p.State == string(Decided) || p.State == string(UnderTest):
		return nil
	case p.Place == lot.OnTheRoad:
		return movePortion(ctx, tx, p, "decide_shipped", PortionFacts{Shipped: true})
	}
	return movePortion(ctx, tx, p, "decide", PortionFacts{Held: true})
}

// undecide takes the decision on a portion back: it is on hold again.
func undecide(ctx context.Context, tx *pg.Tx, p lot.Portion) error {
	if p.State != string(Decided) || p.Place == lot.OnTheRoad {
		return nil
	}
	return movePortion(ctx, tx, &p, "withdraw", PortionFacts{Held: true})
}

// mayPropose refuses what is not allowed for the portion, or says too little.
func (c *docket) mayPropose(n Proposal, p lot.Portion) error {
	o, ok := c.option(p, n.Disposition)
	switch {
	case c.finding(p.Lot).Verdict == "":
		return fault.New(fault.Refused, "not-in-doubt", "the last run does not doubt lot %s: QA lifts its hold", n.Lot).In("lot")
	case !ok:
		return fault.New(fault.Invalid, "unknown-word", "there is no disposition %s; there are %s", n.Disposition, fault.Words(disposition.All())).In("disposition")
	case !o.Allowed:
		return fault.New(fault.Refused, "disposition-not-allowed", "%s of %s: %s", n.Disposition, portionName(p), o.Why).In("disposition")
	case strings.TrimSpace(n.Reason) == "":
		return fault.New(fault.Invalid, "reason-missing", "say why").In("reason")
	case n.Disposition == disposition.Divert && strings.TrimSpace(n.Receiver) == "":
		return fault.New(fault.Invalid, "receiver-missing", "say who receives it, and for what use").In("receiver")
	case n.Disposition == disposition.Rework && strings.TrimSpace(n.IntoLot) == "":
		return fault.New(fault.Invalid, "lot-missing", "say into which lot it is reworked").In("into_lot")
	case !slices.Contains([]string{"", "kill_step", "limit_met"}, n.Because):
		return fault.New(fault.Invalid, "unknown-word", "why the receiving lot leaves no doubt untraced is kill_step or limit_met, or left out: dilution is no argument").In("because")
	case c.quantity(p) == nil:
		return fault.New(fault.Refused, "quantity-unknown", "nobody knows how much %s is: count it under hold first", portionName(p)).In("portion")
	}
	if reason := c.unbalanced(p.Lot); reason != "" {
		return fault.New(fault.Refused, "mass-balance", "%s", reason).In("lot")
	}
	return nil
}

// WithdrawProposal takes back a proposal that was not carried out.
func (s *Service) WithdrawProposal(ctx context.Context, sc pg.Scope, id decision.ID, reason string) (decision.Decision, error) {
	request := map[string]any{"disposition": id, "reason": reason}
	return do(ctx, s, sc, "withdraw", request, statusDone, func(tx *pg.Tx) (dec decision.Decision, err error) {
		if strings.TrimSpace(reason) == "" {
			return dec, fault.New(fault.Invalid, "reason-missing", "say why").In("reason")
		}
		if dec, err = decision.Get(ctx, tx, id); err != nil {
			return dec, err
		}
		d, err := lockDeviation(ctx, tx, DeviationID(dec.Deviation))
		if err != nil {
			return dec, err
		}
		if err := asA(ctx, tx, disposition.QALead, disposition.QualifiedPerson, disposition.PlantManager); err != nil {
			return dec, err
		}
		c, err := docketOf(ctx, tx, d)
		if err != nil {
			return dec, err
		}
		if dec, err = decision.Get(ctx, tx, id); err != nil {
			return dec, err
		}
		if dec.State != decision.Proposed || len(c.doneOf(id)) > 0 {
			return dec, fault.New(fault.Refused, "carried-out", "disposition %d is %s: only what was not begun is taken back", id, dec.State)
		}
		if err := decision.Move(ctx, tx, id, decision.Withdrawn, reason); err != nil {
			return dec, err
		}
		if err := undecide(ctx, tx, c.portion(dec.Portion)); err != nil {
			return dec, err
		}
		err = trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "disposition.withdrawn", Subject: portionName(c.portion(dec.Portion)),
			Version: dec.Version + 1, Before: map[string]any{"disposition": id, "is": dec.Kind}, Reason: reason})
		if err != nil {
			return dec, err
		}
		if err := advance(ctx, tx, &d); err != nil {
			return dec, err
		}
		return decision.Get(ctx, tx, id)
	})
}

// NewEvidence is evidence for a lot in doubt, or for one portion of it. Without
// Bytes the note is the evidence, such as where a paper is kept and what it says.
type NewEvidence struct {
	Lot       string               `json:"lot"`
	Portion   *string              `json:"portion"` // nil: all of the lot
	Kind      disposition.Evidence `json:"kind"`
	Name      string               `json:"name"`
	Note      string               `json:"note"`
	MediaType string               `json:"media_type"`
	Bytes     []byte               `json:"bytes"`
}

// AttachEvidence attaches evidence. Proposals that it concerns are to be signed
// again: what they rest on has changed.
func (s *Service) AttachEvidence(ctx context.Context, sc pg.Scope, id DeviationID, n NewEvidence) (decision.Evidence, error) {
	request := map[string]any{"deviation": id, "evidence": n}
	return do(ctx, s, sc, "attach evidence", request, statusCreated, func(tx *pg.Tx) (e decision.Evidence, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return e, err
		}
		if tx.By.Kind != actor.Person {
			return e, fault.New(fault.Forbidden, "person-required", "a person attaches evidence, never a key")
		}
		c, err := docketOf(ctx, tx, d)
		if err != nil {
			return e, err
		}
		if e, err = c.newEvidence(n); err != nil {
			return e, err
		}
		if len(n.Bytes) > 0 {
			if e.Digest, err = decision.Keep(ctx, tx, n.MediaType, n.Bytes); err != nil {
				return e, err
			}
		}
		if e, err = decision.Attach(ctx, tx, e); err != nil {
			return e, err
		}
		if err := refresh(ctx, tx, &d, fmt.Sprintf("evidence was attached: %s", n.Kind)); err != nil {
			return e, err
		}
		if err := advance(ctx, tx, &d); err != nil {
			return e, err
		}
		return e, trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "evidence.attached", Subject: n.Lot, Version: 1,
			After: map[string]any{"kind": n.Kind, "name": n.Name, "sha256": e.Digest, "note": n.Note}})
	})
}

// Attachable are the kinds of evidence that a person attaches: the others follow
// from what is recorded of tests and readings.
func Attachable() []disposition.Evidence {
	return slices.DeleteFunc(disposition.Kinds(), func(e disposition.Evidence) bool {
		return e == disposition.TestResults || e == disposition.SecondInstrument
	})
}

// newEvidence refuses evidence of no known kind, of nothing in doubt, or that the
// tool finds by itself.
func (c *docket) newEvidence(n NewEvidence) (e decision.Evidence, err error) {
	e = decision.Evidence{Deviation: int64(c.d.ID), Kind: n.Kind, Name: strings.TrimSpace(n.Name), Note: strings.TrimSpace(n.Note)}
	switch {
	case n.Kind.Means() == "":
		return e, fault.New(fault.Invalid, "unknown-word", "there is no evidence of the kind %s; there are %s", n.Kind, fault.Words(Attachable())).In("kind")
	case !slices.Contains(Attachable(), n.Kind):
		return e, fault.New(fault.Invalid, "found-by-itself", "%s is not attached: it follows from what is recorded of tests and readings", n.Kind).In("kind")
	case e.Name == "":
		return e, fault.New(fault.Invalid, "bad-name", "evidence needs a name").In("name")
	case len(n.Bytes) == 0 && e.Note == "":
		return e, fault.New(fault.Invalid, "nothing-attached", "attach the paper, or write where it is kept and what it says").In("note")
	}
	label := ""
	if n.Portion != nil {
		label = *n.Portion
	}
	p, err := c.find(n.Lot, label)
	if err != nil {
		return e, err
	}
	if e.Lot = p.Lot; n.Portion != nil {
		e.Portion = &p.ID
	}
	return e, nil
}
