package workflow

import (
	"context"

	"lastgood/policy/document"
	"lastgood/policy/impact"
	"lastgood/policy/routing"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// weigh gives every assessment its level, score and route, by where the lot and
// what was made of it have gone.
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
	for _, g := range gone {
		shipped[g.Lot] = append(shipped[g.Lot], g.Consignee)
	}
	for i := range list {
		a := &list[i]
		if a.KillStep, err = e.killStep(a, where, shipped); err != nil {
			return err
		}
		e.weighOne(a, where, shipped)
	}
	return nil
}

func (e *evidence) weighOne(a *Assessment, where map[lot.ID]lot.Position, shipped map[lot.ID][]string) {
	f := impact.Facts{Verdict: string(a.Result.Verdict), MissedAsRecorded: a.Result.MissedAsRecorded, NoLastGood: e.lastGood < 0,
		KillStep:          a.KillStep != nil,
		ProbabilityMissed: a.Result.ProbabilityMissed}
	consignees := map[string]bool{}
	for _, id := range e.below(lot.ID(a.LotID)) {
		f.InControlAny = f.InControlAny || where[id].InControl
		for _, c := range shipped[id] {
			f.ShippedAny = true
			consignees[c] = true
		}
	}
	f.Consignees = len(consignees)
	f.ReadyToEat, f.Vulnerable = e.eaten(lot.ID(a.LotID))
	f.Severity = severityOf(e.policy.Policy, a.Hazard)
	a.Impact = impact.Assess(f)
	d := routing.Default(routing.Facts{Level: a.Impact.Level, Verdict: f.Verdict, MissedAsRecorded: f.MissedAsRecorded,
		KillStep: f.KillStep, Shipped: f.ShippedAny, InControl: f.InControlAny, Kind: a.Kind, Severity: f.Severity})
	a.Route, a.RouteRule, a.Reason, a.Signers = string(d.Route), d.Rule, d.Reason, d.Signers
}

// eaten says whether a lot, or anything made of it, is eaten as it is, and by
// whom: yes if one is, unknown if one may be.
func (e *evidence) eaten(id lot.ID) (ready, vulnerable *bool) {
	no := false
	ready, vulnerable = &no, &no
	for _, below := range e.below(id) {
		l := e.lots[below]
		ready = graver(ready, l.ReadyToEat)
		var v *bool
		if l.Consumers != nil && *l.Consumers != "" {
			is := *l.Consumers == string(lot.Vulnerable)
			v = &is
		}
		vulnerable = graver(vulnerable, v)
	}
	return ready, vulnerable
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
