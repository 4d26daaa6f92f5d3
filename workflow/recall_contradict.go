package workflow

import (
	"context"
	"fmt"
	"slices"

	"lastgood/policy/disposition"
	"lastgood/workflow/pg"
)

func init() {
	ways = append(ways, contradictionsInTheWay)
}

// contradictionsInTheWay: what was signed of the recall and what stands of a
// portion that has left cannot both be meant.
func contradictionsInTheWay(ctx context.Context, tx *pg.Tx, c *docket) ([]Reason, error) {
	k, err := recallOf(ctx, tx, c)
	if k == nil || err != nil {
		return nil, err
	}
	return c.contradictions(State(k.r.State)), nil
}

// contradictions compares the recall as it was signed with the dispositions of
// what has left. While a pack waits for signatures nothing was signed.
func (c *docket) contradictions(recall State) (out []Reason) {
	if slices.Contains([]State{RecallNotNeeded, RecallDeciding}, recall) {
		return nil
	}
	for _, p := range c.portions {
		dec, has := c.decision(p.ID)
		if !has || whereabouts(p) != disposition.Shipped {
			continue
		}
		f, detail := c.finding(p.Lot), ""
		switch no := recall == RecallDecidedNot; {
		case no && dec.Kind == disposition.Retrieve:
			detail = "it was signed that nothing is retrieved, and " + portionName(p) + " is to be retrieved: decide one of them anew"
		case !no && dec.Kind == disposition.Release && f.inDoubt():
			detail = fmt.Sprintf("it was signed that what has left is retrieved, and %s, whose limit is %s, is released: decide one of them anew", portionName(p), f.Verdict)
		default:
			continue
		}
		out = append(out, Reason{"decisions_contradict", detail, fmt.Sprintf("/v1/deviations/%d/portions", c.d.ID)})
	}
	return out
}
