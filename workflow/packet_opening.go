package workflow

import (
	"context"

	"lastgood/policy/unit"
	"lastgood/workflow/correct"
	"lastgood/workflow/decision"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

// PacketPortion is a portion of a lot in doubt, with what was decided of it, by
// whom, and what was carried out.
type PacketPortion struct {
	Name     string
	Found    Finding
	Quantity *unit.Quantity     // nil: nobody knows
	Decision *decision.Decision // that stands; nil: none
	Record   *signoff.Record    // of the decision; nil: none was put up for signing
	Done     []decision.Done
	Verified *signoff.Record // that it was carried out; nil: not put up for signing
}

// loadOpening reads what a reader is told first.
func (p *Packet) loadOpening(ctx context.Context, tx *pg.Tx) (err error) {
	if p.docket, err = docketOf(ctx, tx, p.Deviation); err != nil {
		return err
	}
	c := p.docket
	p.Findings = c.findings
	for _, q := range c.toDecide() {
		p.Portions = append(p.Portions, c.packetPortion(q))
	}
	if r, ok := c.record(signoff.Closing, int64(p.Deviation.ID)); ok {
		p.Closing = &r
	}
	p.Parts, err = correct.Of(ctx, tx, int64(p.Deviation.ID))
	return err
}

func (c *docket) packetPortion(q lot.Portion) PacketPortion {
	out := PacketPortion{Name: portionName(q), Found: c.finding(q.Lot), Quantity: c.quantity(q)}
	dec, has := c.decision(q.ID)
	if !has {
		return out
	}
	out.Decision, out.Done = &dec, c.doneOf(dec.ID)
	if r, ok := c.record(signoff.Disposition, int64(dec.ID)); ok {
		out.Record = &r
	}
	if r, ok := c.record(signoff.Execution, int64(dec.ID)); ok {
		out.Verified = &r
	}
	return out
}
