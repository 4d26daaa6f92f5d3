package workflow

import (
	"context"
	"fmt"
	"slices"
	"time"

	deadline "lastgood/policy/clock"
	"lastgood/policy/document"
	"lastgood/workflow/pg"
)

// ClockState says how a clock stands.
type ClockState string

// How a clock can stand.
const (
	ClockRunning ClockState = "running"
	ClockMet     ClockState = "met"
	ClockMissed  ClockState = "missed" // late, and still not done
	ClockMetLate ClockState = "met_late"
)

// The kinds of clocks.
const (
	ClockNotice        = "notice"        // an authority is to be told
	ClockDetermination = "determination" // it is to be determined who must be told
	ClockRule          = "rule"          // a deadline of the site's rules
	ClockReview        = "record_review"
	ClockStatus        = "recall_status"
)

// Clock is a time within which something is to be done.
type Clock struct {
	Deviation DeviationID
	Kind      string
	What      string // to be done
	StartedAt time.Time
	DueAt     time.Time // in the plant's zone
	// LateAfter is from when on it counts as missed: later than DueAt only where
	// something is due at once.
	LateAfter  time.Time
	MetAt      *time.Time
	State      ClockState
	Basis      string      // the citation, or what asks for it
	Row        string      // of the published obligations; empty: none
	Reasons    []string    // how it was counted
	EscalateAt []time.Time // when people are told again of what is due at once
}

// settle says how the clock stands at a moment.
func (k *Clock) settle(now time.Time) {
	switch {
	case k.MetAt != nil && k.MetAt.After(k.LateAfter):
		k.State = ClockMetLate
	case k.MetAt != nil:
		k.State = ClockMet
	case now.After(k.LateAfter):
		k.State = ClockMissed
	default:
		k.State = ClockRunning
	}
}

// Open says whether what it asks for is not done.
func (k Clock) Open() bool { return k.State == ClockRunning || k.State == ClockMissed }

// newClock works out a clock by a rule and the plant's calendar.
func (c *docket) newClock(kind, what string, start time.Time, r deadline.Rule, zone *time.Location) (Clock, error) {
	due, err := deadline.Deadline(start, r, c.policy.Calendar(zone))
	if err != nil {
		return Clock{}, fmt.Errorf("clock of %s: %w", what, err)
	}
	return Clock{Deviation: c.d.ID, Kind: kind, What: what, StartedAt: start.In(zone), DueAt: due.At, LateAfter: due.At, Reasons: due.Reasons}, nil
}

// Clocks returns every clock of a deviation, in the order of falling due.
func (s *Service) Clocks(ctx context.Context, sc pg.Scope, id DeviationID) ([]Clock, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]Clock, error) {
		d, err := getDeviation(ctx, tx, id, "")
		if err != nil {
			return nil, err
		}
		return clocksOf(ctx, tx, d)
	})
}

// AllClocks returns the clocks of every deviation that is not closed, and of closed
// ones what is still open; with open, only what is not done.
func (s *Service) AllClocks(ctx context.Context, sc pg.Scope, open bool) ([]Clock, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]Clock, error) {
		var list []Deviation
		const q = `select ` + deviationColumns + ` from deviation d where plant_id = $1 and (state not in ('closed', 'cancelled_in_error')
			or exists (select from notification n where n.plant_id = d.plant_id and n.deviation_id = d.deviation_id)) order by deviation_id`
		if err := tx.SelectContext(ctx, &list, q, tx.Plant); err != nil {
			return nil, fmt.Errorf("deviations with clocks: %w", err)
		}
		var out []Clock
		for _, d := range list {
			more, err := clocksOf(ctx, tx, d)
			if err != nil {
				return nil, err
			}
			out = append(out, more...)
		}
		out = slices.DeleteFunc(out, func(k Clock) bool { return open && !k.Open() })
		sortClocks(out)
		return out, nil
	})
}

func sortClocks(list []Clock) {
	slices.SortStableFunc(list, func(a, b Clock) int { return a.DueAt.Compare(b.DueAt) })
}

func clocksOf(ctx context.Context, tx *pg.Tx, d Deviation) ([]Clock, error) {
	c, err := docketOf(ctx, tx, d)
	if err != nil {
		return nil, err
	}
	return c.clocks(ctx, tx)
}

// clocks are all of a deviation, in the order of falling due.
func (c *docket) clocks(ctx context.Context, tx *pg.Tx) ([]Clock, error) {
	zone, err := zoneOf(ctx, tx)
	if err != nil {
		return nil, err
	}
	out := []Clock{}
	for _, sort := range []func(context.Context, *pg.Tx, *time.Location) ([]Clock, error){c.noticeClocks, c.determinationClocks, c.ruleClocks, c.reviewClocks, c.recallClocks} {
		more, err := sort(ctx, tx, zone)
		if err != nil {
			return nil, err
		}
		out = append(out, more...)
	}
	for i := range out {
		out[i].settle(tx.Now)
	}
	sortClocks(out)
	return out, nil
}

// noticeClocks: every authority that must be told, from the signed determination.
func (c *docket) noticeClocks(ctx context.Context, tx *pg.Tx, zone *time.Location) (out []Clock, _ error) {
	list, err := c.notifications(ctx, tx)
	if err != nil {
		return nil, err
	}
	for _, n := range list {
		if n.ClockFrom == nil {
			continue
		}
		what := "tell " + n.About.Name
		if n.About.Asked() {
			what = "give the records that were asked for"
		}
		k, err := c.newClock(ClockNotice, what, *n.ClockFrom, n.About.Rule, zone)
		if err != nil {
			return nil, err
		}
		k.Basis, k.Row, k.MetAt = n.About.Citation, n.About.Row, n.SentAt
		if n.About.Immediately() {
			for _, after := range document.EscalateAfter {
				k.LateAfter = k.StartedAt.Add(after)
				k.EscalateAt = append(k.EscalateAt, k.LateAfter)
			}
			k.Reasons = append(k.Reasons, "it is due at once, people are told again at 0, 30 and 60 min, and after that it is missed")
		}
		out = append(out, k)
	}
	return out, nil
}

// determinationClocks: product in doubt is known to have left, and each authority
// that concerns the plant is to be assessed: a clock must not be avoided by not
// deciding (design notes on the procedure, §11).
func (c *docket) determinationClocks(ctx context.Context, tx *pg.Tx, zone *time.Location) (out []Clock, _ error) {
	since, err := c.leftSince(ctx, tx)
	if err != nil || since.IsZero() {
		return nil, err
	}
	list, err := c.notifications(ctx, tx)
	if err != nil {
		return nil, err
	}
	due := since.Add(c.policy.DeterminationWithin).In(zone)
	for _, n := range list {
		if n.About.Asked() {
			continue
		}
		out = append(out, Clock{Deviation: c.d.ID, Kind: ClockDetermination, What: "determine whether " + n.About.Name + " must be told", StartedAt: since.In(zone),
			DueAt: due, LateAfter: due, MetAt: n.Determined, Basis: "determination_within of the policy; " + n.About.Citation, Row: n.About.Row,
			Reasons: []string{fmt.Sprintf("%v from when product in doubt was known to have left", c.policy.DeterminationWithin)}})
	}
	return out, nil
}
