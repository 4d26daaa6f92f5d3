package workflow

import (
	"context"
	"fmt"
	"slices"

	"lastgood/policy/disposition"
	"lastgood/policy/sampling"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/retest"
	"lastgood/workflow/trail"
)

// NewRetest is a re-test to be ordered.
type NewRetest struct {
	Lot     string `json:"lot"`
	Portion string `json:"portion"` // empty: what no other portion names
	// Plan is a published plan's name; empty: N, C and the limits are the site's own.
	// Limits that a published plan leaves to the product are set here.
	Plan   string   `json:"plan"`
	N      int      `json:"n"`
	C      int      `json:"c"`
	Limit  *float64 `json:"m"`
	Reject *float64 `json:"M"` // nil: two classes
	Unit   string   `json:"unit"`
	retest.Terms
}

// OrderRetest orders a re-test of product on hold. The hold stays, and nothing is
// decided on the portion before the plan has.
func (s *Service) OrderRetest(ctx context.Context, sc pg.Scope, id DeviationID, n NewRetest) (Retest, error) {
	request := map[string]any{"deviation": id, "order": n}
	return do(ctx, s, sc, "order re-test", request, statusCreated, func(tx *pg.Tx) (t Retest, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return t, err
		}
		if err := asA(ctx, tx, disposition.QALead); err != nil {
			return t, err
		}
		if n.Terms.Plan, err = n.plan(); err != nil {
			return t, err
		}
		if err := n.check(); err != nil {
			return t, err
		}
		p, err := mayTest(ctx, tx, d, n)
		if err != nil {
			return t, err
		}
		o, err := retest.Add(ctx, tx, retest.Ordered{Deviation: int64(id), Portion: p.ID, State: string(TestOrdered), Terms: n.Terms})
		if err != nil {
			return t, err
		}
		err = trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "retest.ordered", Subject: portionName(p), Version: 1,
			After: map[string]any{"retest": o.ID, "terms": n.Terms}, Reason: n.Reason})
		if err != nil {
			return t, err
		}
		if err := followTests(ctx, tx, &d, "a re-test was ordered"); err != nil {
			return t, err
		}
		return getRetest(ctx, tx, o.ID)
	})
}

// plan returns the plan that is ordered, complete.
func (n NewRetest) plan() (sampling.Plan, error) {
	p := sampling.Plan{Name: "the site's own", N: n.N, C: n.C, Classes: 2, Unit: n.Unit, Limit: n.Limit, Reject: n.Reject}
	if n.Reject != nil {
		p.Classes = 3
	}
	if n.Plan == "" {
		return p, nil
	}
	known, ok := sampling.ByID(n.Plan)
	switch {
	case !ok:
		return p, fault.New(fault.NotFound, "unknown-plan", "no published plan is called %s", n.Plan).In("plan")
	case n.N != 0 && n.N != known.N || n.C != 0 && n.C != known.C:
		return p, fault.New(fault.Invalid, "plan-changed", "plan %s takes %d samples, of which %d may be above m: another number is a plan of your own", n.Plan, known.N, known.C).In("n")
	case known.Limit != nil && n.Limit != nil && *known.Limit != *n.Limit, known.Reject != nil && n.Reject != nil && *known.Reject != *n.Reject,
		known.Unit != "" && n.Unit != "" && known.Unit != n.Unit:
		return p, fault.New(fault.Invalid, "plan-changed", "plan %s has its own limits: other ones are a plan of your own", n.Plan).In("m")
	}
	if known.Limit == nil {
		known.Limit = n.Limit
	}
	if known.Reject == nil {
		known.Reject = n.Reject
	}
	if known.Unit == "" {
		known.Unit = n.Unit
	}
	return known, nil
}

func (n NewRetest) check() error {
	if _, err := sampling.Judge(n.Order(), nil); err != nil {
		return fault.New(fault.Invalid, "bad-plan", "%v", err).In("plan")
	}
	if n.Reach != sampling.WholeLot && n.Reach != sampling.TaggedOnly {
		return fault.New(fault.Invalid, "unknown-word", "what the samples speak for is %s or %s", sampling.WholeLot, sampling.TaggedOnly).In("reach")
	}
	for _, f := range []struct{ text, field, what string }{
		{n.Terms.Plan.Unit, "unit", "in what results are counted"}, {n.Analyte, "analyte", "what is looked for"}, {n.Laboratory, "laboratory", "which laboratory"},
		{n.Custody, "custody", "how the samples get to the laboratory, and who keeps them until then"}, {n.Reason, "reason", "why it is ordered"},
	} {
		if err := said(f.text, f.field, f.what); err != nil {
			return err
		}
	}
	if n.Reach == sampling.TaggedOnly {
		return said(n.Tagged, "tagged", "which quantity was tagged: the result is limited to it")
	}
	return nil
}

// mayTest returns the portion, if it is held, in doubt, and nothing of it was
// carried out.
func mayTest(ctx context.Context, tx *pg.Tx, d Deviation, n NewRetest) (p lot.Portion, err error) {
	if !slices.Contains([]State{Evaluating, AwaitingResults, DispositionProposed, DispositionSigned}, d.State) {
		r := &Refusal{State: d.State, Event: OrderTest, Allowed: deviationTrack.Allowed(d.State)}
		return p, &fault.Error{Kind: fault.Refused, Rule: "transition-not-allowed", Detail: r.Error(), Err: r}
	}
	c, err := docketOf(ctx, tx, d)
	if err != nil {
		return p, err
	}
	if p, err = c.find(n.Lot, n.Portion); err != nil {
		return p, err
	}
	held := false
	for _, h := range c.holds {
		held = held || h.Lot == p.Lot && h.Portion == p.Label
	}
	dec, decided := c.decision(p.ID)
	switch {
	case c.finding(p.Lot).Verdict == "":
		return p, fault.New(fault.Refused, "not-in-doubt", "the last run does not doubt lot %s: there is nothing to test", n.Lot).In("lot")
	case !held:
		return p, fault.New(fault.Refused, "not-held", "%s is not held by deviation %d: what is tested stays on hold until the results are in", portionName(p), d.ID).In("portion")
	case decided && len(c.doneOf(dec.ID)) > 0:
		return p, fault.New(fault.Refused, "carried-out", "the disposition of %s is being carried out, or was", portionName(p)).In("portion")
	}
	return p, nil
}

// Promise is what passing a plan would prove.
type Promise struct {
	Confidence float64
	// Clean and AtMost are the largest shares of units above m that passing still
	// allows: where no sample is above m, and where as many are as may be.
	Clean, AtMost float64
	Points        []PromisePoint
}

// PromisePoint is a point of the operating characteristic.
type PromisePoint struct {
	Defective float64 // share of units above m; above M in three classes
	Passes    float64 // chance that such a lot passes all the same
}

// promised are the shares that the operating characteristic is shown at.
var promised = []float64{0.001, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5}

// PromiseOf returns what passing an ordered plan would prove: the operating
// characteristic of a large lot, and what is still allowed of what the samples
// speak for.
func PromiseOf(o sampling.Order) (p Promise, err error) {
	p.Confidence = o.Confidence
	if p.Confidence == 0 {
		p.Confidence = sampling.DefaultConfidence
	}
	if p.Clean, err = allowed(o, 0, p.Confidence); err != nil {
		return p, err
	}
	if p.AtMost, err = allowed(o, o.Plan.C, p.Confidence); err != nil {
		return p, err
	}
	for _, share := range promised {
		pass, err := o.Plan.Passes(sampling.Rates{Defective: share})
		if err != nil {
			return p, fmt.Errorf("promise: %w", err)
		}
		p.Points = append(p.Points, PromisePoint{share, pass})
	}
	return p, nil
}

// allowed is the largest share of units above m that so many found ones allow.
func allowed(o sampling.Order, found int, confidence float64) (float64, error) {
	if o.Units == 0 || o.Units > sampling.MaxLot {
		return sampling.Proves(o.Plan.N, found, confidence)
	}
	units, err := sampling.ProvesLot(o.Plan.N, found, o.Units, confidence)
	return float64(units) / float64(o.Units), err
}
