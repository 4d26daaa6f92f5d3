package workflow

import (
	"context"
	"fmt"

	"lastgood/workflow/pg"
)

func init() {
	ways = append(ways, notificationsInTheWay, clocksInTheWay)
}

// notificationsInTheWay: product in doubt has left, and of an authority that
// concerns the plant nobody has determined whether it must be told; or what has
// left has changed since.
func notificationsInTheWay(ctx context.Context, tx *pg.Tx, c *docket) (out []Reason, _ error) {
	list, err := c.notifications(ctx, tx)
	if err != nil {
		return nil, err
	}
	left := len(c.left()) > 0
	for _, n := range list {
		link := fmt.Sprintf("/v1/deviations/%d/notifications", c.d.ID)
		switch s := State(n.State); {
		case s == Assessing:
			out = append(out, Reason{"notification_unassessed", "whether " + n.About.Name + " must be told waits for a signature (" + n.About.Citation + ")", link})
		case left && s == NotAssessed:
			out = append(out, Reason{"notification_unassessed", "product in doubt has left, and nobody has determined whether " + n.About.Name + " must be told (" + n.About.Citation + ")", link})
		case left && n.Outdated:
			out = append(out, Reason{"notification_unassessed", "what is known to have left has changed since it was determined for " + n.About.Name + ": determine it anew, or amend the notice", link})
		}
	}
	return out, nil
}

// clocksInTheWay: an authority must be told and was not.
func clocksInTheWay(ctx context.Context, tx *pg.Tx, c *docket) (out []Reason, _ error) {
	list, err := c.clocks(ctx, tx)
	if err != nil {
		return nil, err
	}
	for _, k := range list {
		if k.Kind == ClockNotice && k.MetAt == nil {
			out = append(out, Reason{"clock_running", fmt.Sprintf("%s: the clock is %s, due %s", k.What, k.State, k.DueAt.Format("2006-01-02 15:04 -07:00")),
				fmt.Sprintf("/v1/deviations/%d/clocks", c.d.ID)})
		}
	}
	return out, nil
}
