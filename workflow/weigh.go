package workflow

import (
	"context"
	"time"

	"lastgood/policy/document"
	"lastgood/policy/impact"
	"lastgood/policy/rules"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// weigh gives every assessment its level, score, route, signers and deadlines, by
// where the lot and what was made of it have gone.
func (e *evidence) weigh(ctx context.Context, tx *pg.Tx, list []Assessment) error {
	var ids []lot.ID
	for id := range e.lots {
		ids = append(ids, id)
	}
	where, err := lot.Positions(ctx, tx, ids)
	if err != nil {
		return err
	}
	gone, err := lot.Shipped(ctx, tx, ids)
	if err != nil {
		return err
	}
	shipped := map[lot.ID][]string{}
	left := departed{shipped: map[lot.ID]int64{}}
	for _, g := range gone {
		if shipped[g.Lot] == nil { // in order of time
			left.shipped[g.Lot] = g.ShippedAt.UnixMicro()
		}
		shipped[g.Lot] = append(shipped[g.Lot], g.Consignee)
	}
	if left.used, err = lot.Used(ctx, tx, ids); err != nil {
		return err
	}
	for i := range list {
		a := &list[i]
		if a.KillStep, err = e.killStep(a, list, where, left); err != nil {
			return err
		}
		e.weighOne(a, where, shipped, tx.Now)
	}
	return nil
}

// weighOne collects what is known of one lot under one limit, lets the rules of
// the policy decide, and scores it. now is the time up to which shelf life has
// run.
func (e *evidence) weighOne(a *Assessment, where map[lot.ID]lot.Position, shipped map[lot.ID][]string, now time.Time) {
	id := lot.ID(a.LotID)
	f := rules.Facts{Verdict: string(a.Result.Verdict), MissedAsRecorded: a.Result.MissedAsRecorded, NoLastGood: a.NoLastGood,
		KillStep: a.KillStep != nil, ProbabilityMissed: a.Result.ProbabilityMissed,
		Severity: string(severityOf(e.policy.Policy, a.Hazard)), Hazard: a.Hazard,
		Limit: a.Limit, Product: orEmpty(e.lots[id].Product), Kind: a.Kind, Monitoring: a.Monitoring}
	consignees := map[string]bool{}
	var there []lot.Stored // or gone: not used up
	for _, below := range e.below(id) {
		f.InControl = f.InControl || where[below].InControl
		for _, c := range shipped[below] {
			f.Shipped = true
			consignees[c] = true
		}
		if where[below].InControl || len(shipped[below]) > 0 {
			there = append(there, e.lots[below])
		}
	}
	if n := len(consignees); n > 0 || !f.Shipped {
		f.Consignees = &n
	}
	f.ReadyToEat, f.Vulnerable, f.SupportsGrowth = e.eaten(id)
	f.ShelfLifeHours = shelfLife(there, now)
	a.Facts = &f
	a.decide(e.policy.Rules)
	a.Impact.Scored = impact.Score(impact.Facts{Verdict: f.Verdict, MissedAsRecorded: f.MissedAsRecorded, ProbabilityMissed: f.ProbabilityMissed,
		Shipped: f.Shipped, ShippedShare: f.ShippedShare, Consignees: f.Consignees,
		Severity: impact.Severity(f.Severity), ReadyToEat: f.ReadyToEat, Vulnerable: f.Vulnerable})
}

// shelfLife is how many hours are left of the lot that has the least; nil if that
// is not known of all.
func shelfLife(lots []lot.Stored, now time.Time) *float64 {
	var least *float64
	for _, l := range lots {
		made := l.MadeAt
		if made == nil {
			made = l.MadeFrom
		}
		if made == nil || l.ShelfLife == nil {
			return nil
		}
		left := max(0, made.Add(time.Duration(*l.ShelfLife)*24*time.Hour).Sub(now).Hours())
		if least == nil || left < *least {
			least = &left
		}
	}
	return least
}

func orEmpty(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// eaten says whether a lot, or anything made of it, is eaten as it is, by whom,
// and whether it supports growth: yes if one does, unknown if one may.
func (e *evidence) eaten(id lot.ID) (ready, vulnerable, growth *bool) {
	no := false
	ready, vulnerable, growth = &no, &no, &no
	for _, below := range e.below(id) {
		l := e.lots[below]
		ready, growth = graver(ready, l.ReadyToEat), graver(growth, l.Growth)
		var v *bool
		if l.Consumers != nil && *l.Consumers != "" {
			is := *l.Consumers == string(lot.Vulnerable)
			v = &is
		}
		vulnerable = graver(vulnerable, v)
	}
	return ready, vulnerable, growth
}

// graver: yes before unknown before no.
func graver(a, b *bool) *bool {
	switch {
	case a != nil && *a || b != nil && *b:
		yes := true
		return &yes
	case a == nil || b == nil:
		return nil
	}
	return a
}

// severityOf is what the policy says of the hazard that a limit controls; empty,
// which counts as serious, if it says nothing.
func severityOf(p *document.Policy, hazard string) impact.Severity {
	return p.Severities[hazard]
}

// below returns a lot and everything that was made of it.
func (e *evidence) below(id lot.ID) []lot.ID {
	out := []lot.ID{id}
	seen := map[lot.ID]bool{id: true}
	for i := 0; i < len(out); i++ {
		for _, next := range e.edges[out[i]] {
			if !seen[next] {
				seen[next] = true
				out = append(out, next)
			}
		}
	}
	return out
}
