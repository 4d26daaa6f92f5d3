package workflow

import (
	"context"
	"slices"

	"lastgood/workflow/decision"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Several deviations may doubt one lot. Its portions are of the lot; each of the
// deviations decides on all that it doubts, and what one of them destroyed or
// called back is gone for all.

// lookElsewhere reads what other deviations did with the portions.
func (c *docket) lookElsewhere(ctx context.Context, tx *pg.Tx) (err error) {
	ids := make([]lot.PortionID, len(c.portions))
	for i, p := range c.portions {
		ids[i] = p.ID
	}
	c.others, c.theirs, err = decision.Elsewhere(ctx, tx, int64(c.d.ID), ids)
	return err
}

// workedElsewhere are the dispositions of other deviations by which portions went
// into other lots: what these took in is not a second time gone. What was diverted
// and has left is in doubt where it is.
func (c *docket) workedElsewhere() (out []decision.Decision) {
	for _, p := range c.portions {
		if _, has := c.decision(p.ID); has || p.State != string(Reworked) && p.State != string(Reprocessed) {
			continue
		}
		if d, is := c.elsewhere(p); is {
			out = append(out, d)
		}
	}
	return out
}

// leftInDoubt says whether a shipment is in doubt by this deviation, or was when it
// was decided on. One that is in doubt by others alone this one had let go: it was
// decided on where it was.
func (c *docket) leftInDoubt(p lot.Portion) bool {
	if slices.ContainsFunc(c.decided, func(d decision.Decision) bool { return d.Portion == p.ID }) {
		return true
	}
	return slices.ContainsFunc(c.amounts[p.Lot].shipped, func(o lot.Out) bool { return p.Label == "shipment "+o.Ref })
}

// elsewhere returns what another deviation carried out of a portion, where that
// ended it.
func (c *docket) elsewhere(p lot.Portion) (decision.Decision, bool) {
	if !lot.Ended(p.State) && p.State != string(RetrievedBack) {
		return decision.Decision{}, false
	}
	i := slices.IndexFunc(c.others, func(d decision.Decision) bool { return d.Portion == p.ID })
	if i < 0 {
		return decision.Decision{}, false
	}
	return c.others[i], true
}

// retrievedElsewhere: another deviation called it back, and what came back is a
// portion of its own.
func (c *docket) retrievedElsewhere(p lot.Portion) bool {
	_, is := c.elsewhere(p)
	return is && p.State == string(RetrievedBack)
}
