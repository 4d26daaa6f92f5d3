package document

import (
	"strconv"

	"go.yaml.in/yaml/v4"

	"lastgood/policy/impact"
	"lastgood/policy/metrology"
)

var (
	topKeys   = []string{"limits", "decision_rule", "onset", "coverage", "severities", "hazards", "beyond_points", "kill_steps", "corroboration"}
	laterKeys = []string{"rules", "routes", "signers", "deadlines"}
)

// policy reads the whole document.
func (r *reader) policy(n *yaml.Node, p *Policy) {
	fields := r.fields(n, "")
	if fields == nil && n.Kind != yaml.MappingNode {
		return
	}
	var now []field
	for _, f := range fields {
		if in(f.key, laterKeys) {
			r.problem(f.at, f.path, "not-supported", f.key+" is not supported yet: leave it out, the built-in "+f.key+" apply")
			continue
		}
		now = append(now, f)
	}
	top := r.known(now, "a policy", topKeys)
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
}

func in(s string, words []string) bool {
	for _, w := range words {
		if s == w {
			return true
		}
	}
	return false
}

// rule reads decision_rule, a word or {rule, ratio}, and coverage.
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
	m := r.known(r.fields(f.value, f.path), "decision_rule", []string{"rule", "ratio"})
	if k, ok := m["rule"]; ok {
		r.ruleKind(k, rule)
	} else {
		r.problem(f.value, f.path+".rule", "missing-parameter", "decision_rule needs rule: simple or guarded")
	}
	if q, ok := m["ratio"]; ok {
		r.ratio(q, rule)
	}
}

func (r *reader) ruleKind(f field, rule *metrology.Rule) {
	if f.value.Value == "probability" {
		r.problem(f.value, f.path, "not-supported", "the decision rule probability is not supported yet: simple and guarded are")
		return
	}
	if s, ok := r.word(f, string(metrology.Simple), string(metrology.Guarded)); ok {
		rule.Kind = metrology.RuleKind(s)
	}
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

func (r *reader) onset(top map[string]field, p *Policy) {
	f, ok := top["onset"]
	if !ok {
		return
	}
	switch f.value.Value {
	case "gradual", "event":
		r.problem(f.value, f.path, "not-supported", "the onset "+f.value.Value+" is not supported yet: sudden is")
		return
	}
	if s, ok := r.scalar(f); ok && s != Sudden {
		r.problem(f.value, f.path, "unknown-word", "onset is "+s+": write sudden")
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
