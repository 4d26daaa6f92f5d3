package workflow

import (
	"context"
	"slices"

	"lastgood/policy/disposition"
	"lastgood/policy/sampling"
	"lastgood/policy/unit"
	"lastgood/workflow/decision"
	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

// docket is all that is decided on in a deviation, as it stands: what the last
// run found, the portions with their quantities, what was proposed, signed and
// carried out. It is read anew for each command and never kept.
type docket struct {
	d        Deviation
	policy   sitePolicy
	run      int
	findings []Finding
	digest   []byte // of the findings
	amounts  map[lot.ID]amount
	outs     map[lot.ID][]lot.Out
	portions []lot.Portion
	decided  []decision.Decision
	done     []decision.Done
	others   []decision.Decision // what other deviations carried out of the same portions
	theirs   []decision.Done     // their reports
	evidence []decision.Evidence
	records  []signoff.Record
	holds    []hold.Hold
	tests    map[lot.PortionID][]sampling.Outcome
}

// docketOf reads it.
func docketOf(ctx context.Context, tx *pg.Tx, d Deviation) (*docket, error) {
	c := &docket{d: d}
	var err error
	if c.policy, err = policyInForce(ctx, tx); err != nil {
		return nil, err
	}
	const run = `select coalesce(max(run_number), 0) from trace_run where plant_id = $1 and deviation_id = $2`
	if err := tx.GetContext(ctx, &c.run, run, tx.Plant, d.ID); err != nil {
		return nil, err
	}
	if c.findings, err = findingsOf(ctx, tx, d); err != nil {
		return nil, err
	}
	if c.digest, err = digestOf(c.findings); err != nil {
		return nil, err
	}
	ids := make([]lot.ID, len(c.findings))
	for i, f := range c.findings {
		ids[i] = f.LotID
	}
	if c.portions, err = lot.PortionsOf(ctx, tx, ids); err != nil {
		return nil, err
	}
	if c.decided, err = decision.Of(ctx, tx, int64(d.ID)); err != nil {
		return nil, err
	}
	if c.done, err = decision.DoneOf(ctx, tx, int64(d.ID)); err != nil {
		return nil, err
	}
	if c.evidence, err = decision.EvidenceOf(ctx, tx, int64(d.ID)); err != nil {
		return nil, err
	}
	if c.records, err = signoff.Of(ctx, tx, int64(d.ID)); err != nil {
		return nil, err
	}
	if c.holds, err = hold.Of(ctx, tx, int64(d.ID)); err != nil {
		return nil, err
	}
	if err := c.lookElsewhere(ctx, tx); err != nil {
		return nil, err
	}
	c.amounts, c.outs, err = amounts(ctx, tx, ids, c.portions, slices.Concat(c.decided, c.workedElsewhere()), slices.Concat(c.done, c.theirs))
	if err != nil {
		return nil, err
	}
	c.portions = slices.DeleteFunc(c.portions, func(p lot.Portion) bool { return p.Place == lot.OnTheRoad && !c.leftInDoubt(p) })
	c.tests, err = outcomesOf(ctx, tx, d.ID)
	return c, err
}

// decision returns the disposition of a portion that stands.
func (c *docket) decision(p lot.PortionID) (decision.Decision, bool) {
	i := slices.IndexFunc(c.decided, func(d decision.Decision) bool { return d.Portion == p && d.Standing() })
	if i < 0 {
		return decision.Decision{}, false
	}
	return c.decided[i], true
}

// record returns the newest version of a record of the deviation.
func (c *docket) record(kind signoff.Kind, id int64) (signoff.Record, bool) {
	i := slices.IndexFunc(c.records, func(r signoff.Record) bool { return r.Kind == kind && r.ID == id })
	if i < 0 {
		return signoff.Record{}, false
	}
	return c.records[i], true
}

// finding returns what was found of a lot.
func (c *docket) finding(id lot.ID) Finding {
	i := slices.IndexFunc(c.findings, func(f Finding) bool { return f.LotID == id })
	return c.findings[i]
}

// quantity returns how much a portion is; nil: nobody knows. Of what no other
// portion names it is what is left in control, else what was counted under hold.
func (c *docket) quantity(p lot.Portion) *unit.Quantity {
	if p.Label != "" {
		return p.Amount()
	}
	var all []lot.Portion
	for _, o := range c.portions {
		if o.Lot == p.Lot {
			all = append(all, o)
		}
	}
	if q := lot.Rest(c.amounts[p.Lot].inControl, all); q != nil || c.amounts[p.Lot].inControl != nil {
		return q
	}
	for _, h := range c.holds {
		if h.Lot == p.Lot && h.Portion == "" && h.Counted != nil && h.CountedUnit != nil {
			return &unit.Quantity{Amount: *h.Counted, Unit: *h.CountedUnit}
		}
	}
	return nil
}

// toDecide returns the portions that need a disposition: of every lot that the
// last run doubts, whatever there is of it that no other deviation has disposed
// of.
func (c *docket) toDecide() []lot.Portion {
	var out []lot.Portion
	for _, p := range c.portions {
		if c.finding(p.Lot).Verdict == "" {
			continue
		}
		if _, has := c.decision(p.ID); !has && (lot.Ended(p.State) || c.retrievedElsewhere(p)) {
			continue
		}
		if q := c.quantity(p); p.Label == "" && q != nil && q.Rat().Sign() == 0 {
			continue
		}
		out = append(out, p)
	}
	return out
}

// counts returns how many portions lack a proposal that is still allowed, how many
// proposals lack a signature, how many were carried out in part or whole, and how
// many are not carried out whole and verified.
func (c *docket) counts() (undecided, unsigned, begun, unexecuted int) {
	for _, p := range c.toDecide() {
		d, has := c.decision(p.ID)
		if !has {
			undecided++
			continue
		}
		if r, ok := c.record(signoff.Disposition, int64(d.ID)); !ok || !r.Complete() {
			unsigned++
		}
		if slices.ContainsFunc(c.done, func(e decision.Done) bool { return e.Disposition == d.ID }) {
			begun++
		}
		if d.State != decision.Executed {
			unexecuted++
			continue
		}
		if r, ok := c.record(signoff.Execution, int64(d.ID)); !ok || !r.Complete() {
			unexecuted++
		}
	}
	return undecided, unsigned, begun, unexecuted
}

// whereabouts says where a portion is for what may become of it.
func whereabouts(p lot.Portion) disposition.Place {
	switch p.Place {
	case lot.InControl:
		return disposition.InControl
	case lot.Retrieved:
		return disposition.Retrieved
	}
	return disposition.Shipped
}
