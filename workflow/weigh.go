package workflow

import (
	"context"
	"strings"

	"lastgood/policy/document"
	"lastgood/policy/impact"
	"lastgood/policy/limit"
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
		e.weighOne(&list[i], where, shipped)
	}
	return nil
}

func (e *evidence) weighOne(a *Assessment, where map[lot.ID]lot.Position, shipped map[lot.ID][]string) {
	f := impact.Facts{Verdict: string(a.Result.Verdict), MissedAsRecorded: a.Result.MissedAsRecorded, NoLastGood: e.lastGood < 0,
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
	l := e.lots[lot.ID(a.LotID)]
	f.ReadyToEat = l.ReadyToEat
	if l.Consumers != nil && *l.Consumers != "" {
		v := *l.Consumers == string(lot.Vulnerable)
		f.Vulnerable = &v
	}
	kind := ""
	if lim, ok := e.limitOf(a.Limit); ok {
		kind = lim.Kind
		f.Severity = severityOf(e.policy.Policy, lim)
	}
	a.Impact = impact.Assess(f)
	d := routing.Default(routing.Facts{Level: a.Impact.Level, Verdict: f.Verdict, MissedAsRecorded: f.MissedAsRecorded,
		Shipped: f.ShippedAny, InControl: f.InControlAny, Kind: kind, Severity: f.Severity})
	a.Route, a.RouteRule, a.Reason, a.Signers = string(d.Route), d.Rule, d.Reason, d.Signers
}

func (e *evidence) limitOf(name string) (limit.Limit, bool) {
	for _, l := range e.policy.Limits {
		if l.Name == name {
			return l, true
		}
	}
	return limit.Limit{}, false
}

// severityOf is what the policy says of the hazard that a limit controls; empty,
// which counts as serious, if it says nothing.
func severityOf(p *document.Policy, l limit.Limit) impact.Severity {
	return impact.Severity(strings.ToLower(string(p.Severities[l.Hazard])))
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
