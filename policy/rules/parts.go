package rules

import (
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"
)

// policy reads the parts of a document that are rules, into a copy of those
// that apply where it is silent. That the document is a mapping, each key of
// which is there once, is for whoever reads its other keys to say.
func (r *reader) policy(root *yaml.Node, rules Rules) *Rules {
	for i := 0; root.Kind == yaml.MappingNode && i+1 < len(root.Content); i += 2 {
		k := root.Content[i]
		f := field{k.Value, k.Value, k, root.Content[i+1]}
		if slices.Contains(Keys(), f.key) {
			rules.own = append(rules.own, f.key)
		}
		switch f.key {
		case "levels":
			rules.levels, rules.raises = r.levels(f)
		case "rules":
			rules.routes = r.routes(f)
		case "routes":
			rules.means = r.means(f)
		case "signers":
			rules.signers = r.signers(f)
		case "deadlines":
			rules.deadlines = r.deadlines(f)
		}
	}
	return &rules
}

// levels reads the rules that give a level, in order, and those that raise it.
func (r *reader) levels(f field) (levels, raises []levelLine) {
	seen, before := map[string]bool{}, &order{}
	for _, item := range r.items(f) {
		m := r.known(item, "a rule for levels", []string{"rule", "when", "reason"}, "level", "raise")
		l := levelLine{line: line{name: r.named(m, seen)}}
		if s, ok := m["reason"]; ok {
			l.reason = r.sentence(s)
		}
		level, gives := m["level"]
		raise, lifts := m["raise"]
		switch {
		case gives == lifts && item.value.Kind == yaml.MappingNode:
			r.problem(item.value, item.path, "missing-key", "a rule for levels has either level, which it gives, or raise, by how much it lifts the level given")
		case gives:
			l.level = r.whole(level, 5)
			r.when(&l.line, m, levelStage, before)
			levels = append(levels, l)
		case lifts:
			l.level = r.whole(raise, 4)
			r.when(&l.line, m, levelStage, nil)
			raises = append(raises, l)
		}
	}
	return levels, raises
}

func (r *reader) routes(f field) []routeLine {
	seen, before := map[string]bool{}, &order{}
	var out []routeLine
	for _, item := range r.items(f) {
		m := r.known(item, "a rule for routes", []string{"rule", "when", "route", "reason"})
		l := routeLine{line: line{name: r.named(m, seen)}}
		r.when(&l.line, m, routeStage, before)
		if s, ok := m["route"]; ok {
			l.route = Route(r.word(s, "unknown-route", routeWords))
		}
		if s, ok := m["reason"]; ok {
			l.reason = r.sentence(s)
		}
		out = append(out, l)
	}
	return out
}

// means reads what each route means at this plant.
func (r *reader) means(f field) map[Route]string {
	out := map[Route]string{}
	for _, k := range r.fields(f.value, f.path) {
		if !slices.Contains(routeWords, k.key) {
			r.problem(k.at, k.path, "unknown-route", "there is no route "+k.key+": there are "+list(routeWords))
			continue
		}
		out[Route(k.key)] = r.sentence(k)
	}
	return out
}

func (r *reader) signers(f field) []signerLine {
	seen := map[string]bool{}
	var out []signerLine
	for _, item := range r.items(f) {
		m := r.known(item, "a rule for signers", []string{"rule", "when", "role", "meaning"})
		l := signerLine{line: line{name: r.named(m, seen)}}
		r.when(&l.line, m, signerStage, nil)
		if s, ok := m["role"]; ok {
			l.role = r.word(s, "unknown-role", roleWords)
		}
		if s, ok := m["meaning"]; ok {
			l.meaning = r.sentence(s)
		}
		out = append(out, l)
	}
	other := func(l signerLine) bool { return l.role != out[0].role }
	if len(out) > 0 && !slices.ContainsFunc(out, other) {
		r.problem(f.value, f.path, "too-few", "one role never signs alone: name at least two")
	}
	return out
}

func (r *reader) deadlines(f field) []deadlineLine {
	seen := map[string]bool{}
	var out []deadlineLine
	for _, item := range r.items(f) {
		m := r.known(item, "a rule for deadlines", []string{"rule", "when", "within", "what"})
		l := deadlineLine{line: line{name: r.named(m, seen)}}
		r.when(&l.line, m, signerStage, nil)
		if s, ok := m["within"]; ok {
			l.within = r.duration(s)
		}
		if s, ok := m["what"]; ok {
			l.what = r.sentence(s)
		}
		out = append(out, l)
	}
	return out
}

func (r *reader) named(m map[string]field, seen map[string]bool) string {
	f, ok := m["rule"]
	if !ok {
		return ""
	}
	return r.name(f, seen)
}

// order is what stands before a rule in a part whose first match decides.
type order struct {
	always string            // the rule that holds whatever the facts are
	by     map[string]string // the rule that has a condition
}

// when compiles the condition of a line. Where the first match decides, it
// refuses a rule that can never be reached: who wrote it meant something by it.
func (r *reader) when(l *line, m map[string]field, s stage, before *order) {
	f, ok := m["when"]
	if !ok {
		return
	}
	if l.when, ok = r.string(f); !ok || len(r.problems) == maxProblems {
		return
	}
	var always bool
	var faults []fault
	l.program, always, faults = condition(l.when, s)
	for _, bad := range faults {
		row, column := r.text.inside(f.value, bad.offset)
		r.problemAt(row, column, f.path, bad.rule, about(l.name)+bad.detail)
	}
	if before != nil && len(faults) == 0 {
		r.reachable(l, f, before, always)
	}
}

func (r *reader) reachable(l *line, f field, before *order, always bool) {
	same := strings.Join(strings.Fields(l.when), " ")
	earlier, twice := before.by[same]
	switch {
	case before.always != "":
		r.problem(f.value, f.path, "unreachable", about(l.name)+"nothing reaches it, since the rule "+before.always+" before it always matches")
	case twice:
		r.problem(f.value, f.path, "unreachable", about(l.name)+"nothing reaches it, since the rule "+earlier+" before it has the same condition")
	case always:
		before.always = l.name
	}
	if before.by == nil {
		before.by = map[string]string{}
	}
	if !twice {
		before.by[same] = l.name
	}
}

func about(rule string) string {
	if rule == "" {
		return ""
	}
	return "rule " + rule + ": "
}
