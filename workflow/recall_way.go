package workflow

import (
	"bytes"
	"context"
	"fmt"
	"slices"

	"lastgood/policy/rules"
	"lastgood/workflow/pg"
)

func init() {
	ways = append(ways, recallInTheWay, distributionInTheWay)
}

// recallInTheWay: what left may have to be retrieved, and nobody has decided; or it
// is being retrieved.
func recallInTheWay(ctx context.Context, tx *pg.Tx, c *docket) (out []Reason, _ error) {
	k, err := recallOf(ctx, tx, c)
	if err != nil {
		return nil, err
	}
	link := fmt.Sprintf("/v1/deviations/%d/recall", c.d.ID)
	add := func(format string, args ...any) {
		out = append(out, Reason{"recall_not_terminated", fmt.Sprintf(format, args...), link})
	}
	route := c.routed()
	switch {
	case k == nil && route != "":
		add("lot %s has left and its route is a recall review: whether it is retrieved is to be decided and signed, yes or no", route)
	case k == nil:
	case State(k.r.State) == RecallDecidedNot:
		if !bytes.Equal(k.r.Basis, c.leftDigest()) && len(c.left()) > 0 {
			add("more is known of what has left than was decided not to retrieve: decide anew")
		}
	case State(k.r.State) == RecallDeciding:
		add("whether what has left is retrieved waits for a signature")
	case State(k.r.State) != RecallTerminated:
		add("the %s is %s: it ends with the reply to the request for termination", k.pack.Kind, k.r.State)
	default:
		for _, name := range k.toNotify() {
			add("%s got product in doubt and was never told", name)
		}
	}
	return out, nil
}

// routed is a lot that has left and that the rules send to a recall review; empty:
// none.
func (c *docket) routed() string {
	for _, f := range c.findings {
		review := slices.ContainsFunc(f.Limits, func(l FoundLimit) bool { return l.Route == string(rules.RecallReview) })
		if review && f.inDoubt() && len(c.amounts[f.LotID].shipped) > 0 {
			return f.Lot
		}
	}
	return ""
}

// distributionInTheWay: product left, and nobody can say to whom, or how much.
func distributionInTheWay(_ context.Context, _ *pg.Tx, c *docket) (out []Reason, _ error) {
	for _, l := range c.left() {
		missing := ""
		switch {
		case l.Consignee == "":
			missing = "to whom"
		case l.Quantity == nil:
			missing = "how much"
		default:
			continue
		}
		out = append(out, Reason{"distribution_record_missing", fmt.Sprintf("lot %s left with shipment %s, and no record says %s (21 CFR 7.59)", l.Lot, l.Shipment, missing),
			"/v1/shipments"})
	}
	return out, nil
}
