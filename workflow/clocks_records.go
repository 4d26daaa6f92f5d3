package workflow

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"github.com/go-json-experiment/json"

	deadline "lastgood/policy/clock"
	"lastgood/policy/disposition"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

// review is within what the records are reviewed by a regime.
type review struct {
	regime        disposition.Regime
	rule          deadline.Rule
	row, citation string // of the published obligations
}

var reviews = []review{
	{disposition.PreventiveControls, deadline.Rule{Count: 7, Unit: deadline.WorkingDays}, "PC-21", "21 CFR 117.165(a)(4)(i)"},
	{disposition.Juice, deadline.Rule{Count: 7, Unit: deadline.CalendarDays}, "JU-05", "21 CFR 120.11(a)(1)(iv)"},
	{disposition.Seafood, deadline.Rule{Count: 7, Unit: deadline.CalendarDays}, "SF-05", "21 CFR 123.8(a)(3)(i)"},
	{disposition.LowAcidCanned, deadline.Rule{Count: 1, Unit: deadline.WorkingDays}, "LA-11", "21 CFR 113.100(b)"},
	{disposition.CannedMeat, deadline.Rule{Count: 1, Unit: deadline.WorkingDays}, "FS-23", "9 CFR 431.8 (was 381.307)"},
}

// reviewClocks: the records of the deviation, the first of which is that of the
// failed check, are reviewed within the time of each regime that is in force.
func (c *docket) reviewClocks(_ context.Context, _ *pg.Tx, zone *time.Location) (out []Clock, _ error) {
	for _, r := range reviews {
		if !slices.Contains(c.policy.Regimes, r.regime) {
			continue
		}
		k, err := c.newClock(ClockReview, "review the records of the deviation", c.d.FailedAt, r.rule, zone)
		if err != nil {
			return nil, err
		}
		k.Basis, k.Row, k.MetAt = r.citation, r.row, c.signedAt(signoff.Review, int64(c.d.ID))
		out = append(out, k)
	}
	return out, nil
}

// signedAt is when everyone had signed a record; nil: not everyone has.
func (c *docket) signedAt(kind signoff.Kind, id int64) *time.Time {
	r, ok := c.record(kind, id)
	if !ok || !r.Complete() {
		return nil
	}
	var last time.Time
	for _, s := range r.Signatures {
		if s.SignedAt.After(last) {
			last = s.SignedAt
		}
	}
	return &last
}

// demand is what a rule of the site asked for of a lot.
type demand struct {
	Lot  lot.ID
	What string
	Rule string
}

// ruleClocks: the deadlines of the last run, each from the first run that asked for
// it. It is met when what becomes of every portion of the lot is signed.
func (c *docket) ruleClocks(ctx context.Context, tx *pg.Tx, zone *time.Location) (out []Clock, _ error) {
	var rows []struct {
		Lot    lot.ID    `db:"lot_id"`
		Run    int       `db:"run_number"`
		MadeAt time.Time `db:"made_at"`
		Body   []byte    `db:"body"`
	}
	const q = `select a.lot_id, r.run_number, r.made_at, a.body from assessment a join trace_run r using (plant_id, run_id)
		where a.plant_id = $1 and r.deviation_id = $2 and position('"deadlines":' in convert_from(a.body, 'UTF8')) > 0
		order by r.run_number, a.lot_id, a.limit_name`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, c.d.ID); err != nil {
		return nil, fmt.Errorf("deadlines: %w", err)
	}
	first, listed := map[demand]time.Time{}, map[demand]bool{}
	for _, r := range rows {
		var a struct {
			Lot       string     `json:"lot"`
			Deadlines []Deadline `json:"deadlines"`
		}
		if err := json.Unmarshal(r.Body, &a); err != nil {
			return nil, fmt.Errorf("deadlines: %w", err)
		}
		for _, d := range a.Deadlines {
			key := demand{r.Lot, d.What, d.Rule}
			if _, ok := first[key]; !ok {
				first[key] = r.MadeAt
			}
			if r.Run != c.run || listed[key] {
				continue
			}
			listed[key] = true
			due := first[key].Add(time.Duration(math.Round(d.WithinHours * float64(time.Hour)))).In(zone)
			out = append(out, Clock{Deviation: c.d.ID, Kind: ClockRule, What: d.What + ": lot " + a.Lot, StartedAt: first[key].In(zone), DueAt: due, LateAfter: due,
				MetAt: c.decidedAt(r.Lot), Basis: "rule " + d.Rule + " of the policy", Reasons: []string{fmt.Sprintf("%g h from the first trace run that asked for it", d.WithinHours)}})
		}
	}
	return out, nil
}

// decidedAt is when what becomes of every portion of a lot was signed; nil: it is
// not.
func (c *docket) decidedAt(id lot.ID) *time.Time {
	var last *time.Time
	for _, p := range c.toDecide() {
		if p.Lot != id {
			continue
		}
		dec, has := c.decision(p.ID)
		if !has {
			return nil
		}
		at := c.signedAt(signoff.Disposition, int64(dec.ID))
		switch {
		case at == nil:
			return nil
		case last == nil || at.After(*last):
			last = at
		}
	}
	return last
}

// How often the agency is told how a recall stands (21 CFR 7.53, row RC-13: usually
// every 2 to 4 weeks).
const (
	leastStatusDays = 14
	mostStatusDays  = 28
)

func (c *docket) recallClocks(ctx context.Context, tx *pg.Tx, _ *time.Location) ([]Clock, error) {
	k, err := recallOf(ctx, tx, c)
	if err != nil || k == nil {
		return nil, err
	}
	due, err := k.statusClock(ctx, tx)
	if err != nil || due == nil {
		return nil, err
	}
	return []Clock{*due}, nil
}

// statusClock is that of the next status report; nil: none is due. The first counts
// from the decision.
func (k *desk) statusClock(ctx context.Context, tx *pg.Tx) (*Clock, error) {
	if k.r.DecidedAt == nil || !slices.Contains(running, State(k.r.State)) {
		return nil, nil
	}
	zone, err := zoneOf(ctx, tx)
	if err != nil {
		return nil, err
	}
	start, days := *k.r.DecidedAt, leastStatusDays
	if n := len(k.Statuses); n > 0 {
		start, days = k.Statuses[n-1].At, k.Statuses[n-1].NextDays
	}
	due, err := k.c.newClock(ClockStatus, "report the status of the "+k.pack.Kind, start, deadline.Rule{Count: days, Unit: deadline.CalendarDays}, zone)
	if err != nil {
		return nil, err
	}
	due.Basis, due.Row = "21 CFR 7.53", "RC-13"
	due.settle(tx.Now)
	return &due, nil
}
