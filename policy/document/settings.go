package document

import (
	"maps"
	"slices"
	"strconv"

	"go.yaml.in/yaml/v4"

	"lastgood/policy/impact"
	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/rules"
)

var topKeys = append([]string{"limits", "decision_rule", "onset", "coverage", "severities", "hazards", "beyond_points", "kill_steps", "corroboration", "regimes", "escalation", "overdue_grace",
	"authorities", "determination_within", "calendar"},
	rules.Keys()...)

// policy reads the whole document.
func (r *reader) policy(n *yaml.Node, p *Policy) {
	fields := r.fields(n, "")
	if fields == nil && n.Kind != yaml.MappingNode {
		return
	}
	top := r.known(fields, "a policy", topKeys)
	p.keys = slices.Collect(maps.Keys(top))
	if f, ok := top["limits"]; ok {
		r.limits(f, p)
	} else {
		r.problem(n, "limits", "missing-parameter", "a policy needs limits")
	}
	r.rule(top, &p.DecisionRule)
	r.onset(top, p)
	r.severities(top, p)
	r.beyond(top, p)
	r.corroboration(top, p)
	r.killSteps(top, p)
	r.regimes(top, p)
	r.escalation(top, p)
	r.readAuthorities(top, p)
	r.calendar(top, p)
	r.rules(n, p)
}

// rules reads the parts that are rules, which have a reader of their own.
func (r *reader) rules(root *yaml.Node, p *Policy) {
	var problems []rules.Problem
	p.Rules, problems = rules.Compile(root, p.Source)
	for _, x := range problems {
		r.problems = append(r.problems, Problem(x))
	}
}

// rule reads decision_rule, a word or {rule, ratio, confidence}, and coverage.
func (r *reader) rule(top map[string]field, rule *metrology.Rule) {
	if f, ok := top["coverage"]; ok {
		if k, ok := r.number(f); ok {
			if k < 1 || k > 4 {
				r.problem(f.value, f.path, "out-of-range", "coverage, the factor k of an expanded uncertainty, is from 1 to 4")
			}
			rule.Coverage = k
		}
	}
	f, ok := top["decision_rule"]
	if !ok {
		return
	}
	if f.value.Kind != yaml.MappingNode {
		r.ruleKind(f, rule)
		return
	}
	m := r.known(r.fields(f.value, f.path), "decision_rule", []string{"rule", "ratio", "confidence"})
	if k, ok := m["rule"]; ok {
		r.ruleKind(k, rule)
	} else {
		r.problem(f.value, f.path+".rule", "missing-parameter", "decision_rule needs rule: simple, guarded or probability")
	}
	if q, ok := m["ratio"]; ok {
		r.ratio(q, rule)
	}
	if q, ok := m["confidence"]; ok {
		r.confidence(q, rule)
	}
}

func (r *reader) ruleKind(f field, rule *metrology.Rule) {
	if s, ok := r.word(f, string(metrology.Simple), string(metrology.Guarded), string(metrology.Probability)); ok {
		rule.Kind = metrology.RuleKind(s)
	}
}

// confidence reads how probable it must be that an instrument kept its tolerance.
func (r *reader) confidence(f field, rule *metrology.Rule) {
	p, ok := r.number(f)
	if !ok {
		return
	}
	switch {
	case rule.Kind != metrology.Probability:
		r.problem(f.value, f.path, "not-for-this-rule", "confidence belongs to the rule probability: leave it out, or write rule: probability")
	case p <= 0.5 || p >= 1:
		r.problem(f.value, f.path, "out-of-range", "confidence, how probable it must be that the error is within the tolerance, is above 0.5 and below 1")
	}
	rule.Confidence = p
}

// ratio reads how many expanded uncertainties the guard band is.
func (r *reader) ratio(f field, rule *metrology.Rule) {
	q, ok := r.number(f)
	if !ok {
		return
	}
	if q <= 0 || q > 3 {
		r.problem(f.value, f.path, "out-of-range", "ratio, the guard band in expanded uncertainties, is above 0 and at most 3")
	}
	rule.Ratio = q
}

// onset reads the model of when an error began. It weights probabilities and the
// order of work, never a verdict.
func (r *reader) onset(top map[string]field, p *Policy) {
	f, ok := top["onset"]
	if !ok {
		return
	}
	if s, ok := r.word(f, limit.Sudden, limit.Gradual, limit.Delayed, limit.Event); ok {
		p.Onset = s
	}
}

// severities reads severities, a mapping of hazards, and hazards, a list.
func (r *reader) severities(top map[string]field, p *Policy) {
	if f, ok := top["severities"]; ok {
		for _, h := range r.fields(f.value, f.path) {
			if s, ok := r.text(field{"a hazard", h.path, h.at, h.at}); ok {
				r.severity(s, h, h, p)
			}
		}
	}
	f, ok := top["hazards"]
	if !ok {
		return
	}
	for _, item := range r.items(f) {
		m := r.known(r.fields(item.value, item.path), "a hazard", []string{"hazard", "severity", "toxin"})
		name, hasName := m["hazard"]
		how, hasHow := m["severity"]
		if !hasName || !hasHow {
			r.problem(item.value, item.path, "missing-parameter", "a hazard needs hazard, its name, and severity")
			continue
		}
		if s, ok := r.text(name); ok {
			r.severity(s, name, how, p)
			r.toxin(s, m, p)
		}
	}
}

// severity notes how bad one hazard is; twice the same hazard is refused.
func (r *reader) severity(hazard string, at, value field, p *Policy) {
	s, ok := r.word(value, string(impact.Minor), string(impact.Moderate), string(impact.Serious), string(impact.Fatal))
	if !ok {
		return
	}
	if _, twice := p.Severities[hazard]; twice {
		r.problem(at.at, at.path, "duplicate-hazard", "the hazard "+hazard+" is there twice")
		return
	}
	p.Severities[hazard] = Severity(s)
}

func (r *reader) beyond(top map[string]field, p *Policy) {
	f, ok := top["beyond_points"]
	if !ok {
		return
	}
	d, ok := r.difference(f)
	if !ok {
		return
	}
	if k := d.Kelvin(); k < 0 || k > 20 {
		r.problem(f.value, f.path, "out-of-range", "beyond_points, how far beyond the points of a check its error is still stated, is from 0 K to 20 K")
		return
	}
	p.Beyond = d.Kelvin()
}

func index(path string, i int) string { return path + "[" + strconv.Itoa(i) + "]" }
