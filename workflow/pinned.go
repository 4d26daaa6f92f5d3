package workflow

import (
	"context"
	"fmt"
	"slices"

	"lastgood/policy/metrology"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// An opening stands: what a site decides later about guard bands does not undo a
// deviation that was opened before. Its instrument is judged by the decision rule
// of the policy under which it opened; limits, severities and everything else are
// those of the policy in force.

// pinned is the deviations that opened under earlier versions of the policy, in
// order of failure, and the decision rules of the versions since.
type pinned struct {
	opened []Deviation
	first  int // version
	rules  []metrology.Rule
}

func loadPinned(ctx context.Context, tx *pg.Tx, version int) (p pinned, err error) {
	const earlier = `select ` + deviationColumns + ` from deviation where plant_id = $1 and policy_version < $2
		order by failed_at, deviation_id`
	if err := tx.SelectContext(ctx, &p.opened, earlier, tx.Plant, version); err != nil {
		return p, fmt.Errorf("deviations of earlier policies: %w", err)
	}
	if len(p.opened) == 0 {
		return p, nil
	}
	p.first = slices.MinFunc(p.opened, func(a, b Deviation) int { return a.PolicyVersion - b.PolicyVersion }).PolicyVersion
	var texts [][]byte
	const bodies = `select body from policy_version where plant_id = $1 and policy_version >= $2 and policy_version < $3
		order by policy_version`
	if err := tx.SelectContext(ctx, &texts, bodies, tx.Plant, p.first, version); err != nil {
		return p, fmt.Errorf("earlier policies: %w", err)
	}
	for i, text := range texts {
		old, err := read.policy(text)
		if err != nil {
			return p, fmt.Errorf("policy version %d: %w", p.first+i, err)
		}
		p.rules = append(p.rules, old.DecisionRule)
	}
	return p, nil
}

// ruleFor returns the decision rule by which an instrument is judged around an
// opening: that of the policy under which its deviation opened. A check that became
// known later may be the opening of a deviation that is older: if it would pass by
// that rule, though it did not when it was recorded, the first rule since counts by
// which it does not.
func (p sitePolicy) ruleFor(in instrument.Stored, o opening) metrology.Rule {
	of := func(opens func(Deviation, opening) bool) int {
		return slices.IndexFunc(p.pinned.opened, func(d Deviation) bool { return d.Instrument == in.ID && opens(d, o) })
	}
	i := of(Deviation.opened)
	if i < 0 {
		i = of(Deviation.isOf)
	}
	if i < 0 {
		return p.DecisionRule
	}
	since := p.pinned.rules[p.pinned.opened[i].PolicyVersion-p.pinned.first:]
	for _, rule := range append(slices.Clone(since), p.DecisionRule) {
		if o.standsBy(rule, in) {
			return rule
		}
	}
	return since[0]
}

// standsBy says whether a rule leaves the opening what it was: not passed.
func (o opening) standsBy(rule metrology.Rule, in instrument.Stored) bool {
	if o.check == nil || passed(o.check) {
		return true
	}
	j := o.check.Judge(in.ToleranceDiff(), rule)
	again := *o.check
	again.Found, again.Left = j.Found, j.Left
	return !passed(&again)
}
