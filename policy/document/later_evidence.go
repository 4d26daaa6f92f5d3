package document

import (
	"slices"
	"time"

	"go.yaml.in/yaml/v4"

	"lastgood/policy/limit"
)

// KillStep is a later step that may clear hazards: a lot in doubt that met its
// limit afterwards, by an instrument that is not in doubt, is clear of them.
type KillStep struct {
	Limit  string   // of the step
	Clears []string // hazards; never one that is a toxin
}

// Corroboration says when two instruments can be compared.
type Corroboration struct {
	// Within is how far apart in time two readings of the same product may be. A
	// judgement; DefaultWithin unless the plant says.
	Within time.Duration
}

// DefaultWithin is how far apart in time two readings may be to be compared: a
// core temperature taken twice, one probe after the other (common practice).
const DefaultWithin = 5 * time.Minute

// ClearedBy returns the limits of the steps that may clear a hazard.
func (p *Policy) ClearedBy(hazard string) []string {
	var out []string
	for _, k := range p.KillSteps {
		if slices.Contains(k.Clears, hazard) {
			out = append(out, k.Limit)
		}
	}
	return out
}

// killSteps reads the list of kill steps, once the limits and the hazards are
// known. A hazard that a step clears must say whether it is a toxin: heat that
// kills what makes a toxin leaves the toxin.
func (r *reader) killSteps(top map[string]field, p *Policy) {
	f, ok := top["kill_steps"]
	if !ok {
		return
	}
	for _, item := range r.items(f) {
		m := r.known(r.fields(item.value, item.path), "a kill step", []string{"limit", "clears"})
		name, hasName := m["limit"]
		_, hasClears := m["clears"]
		if !hasName || !hasClears {
			r.problem(item.value, item.path, "missing-parameter", "a kill step needs limit, the name of its limit, and clears, a list of hazards")
			continue
		}
		k := KillStep{Clears: r.names(m, "clears")}
		k.Limit, _ = r.text(name)
		if !slices.ContainsFunc(p.Limits, func(l limit.Limit) bool { return l.Name == k.Limit }) {
			r.problem(name.value, name.path, "unknown-limit", "there is no limit "+k.Limit+" in this policy")
		}
		r.notToxins(m["clears"], k, p)
		p.KillSteps = append(p.KillSteps, k)
	}
}

func (r *reader) notToxins(f field, k KillStep, p *Policy) {
	for i, hazard := range k.Clears {
		at := f.value.Content[i]
		switch toxin, said := p.toxins[hazard]; {
		case !said:
			r.problem(at, f.path, "toxin-not-stated", "list "+hazard+" under hazards and say toxin: true or toxin: false: no kill step clears a toxin")
		case toxin:
			r.problem(at, f.path, "toxin", hazard+" is a toxin: no kill step clears it")
		}
	}
}

// toxin reads whether a hazard is a toxin.
func (r *reader) toxin(hazard string, m map[string]field, p *Policy) {
	f, ok := m["toxin"]
	if !ok {
		return
	}
	word, ok := r.word(f, "true", "false")
	if ok {
		p.toxins[hazard] = word == "true"
	}
}

// corroboration reads corroboration: {within: 5m}.
func (r *reader) corroboration(top map[string]field, p *Policy) {
	f, ok := top["corroboration"]
	if !ok {
		return
	}
	m := r.known(r.fields(f.value, f.path), "corroboration", []string{"within"})
	within, ok := m["within"]
	if !ok {
		if f.value.Kind == yaml.MappingNode {
			r.problem(f.value, f.path+".within", "missing-parameter", "corroboration needs within, the time between two readings that are compared")
		}
		return
	}
	d, ok := r.duration(within)
	if !ok {
		return
	}
	if d <= 0 || d > time.Hour {
		r.problem(within.value, within.path, "out-of-range", "within is more than 0 and at most an hour: product changes in between")
	}
	p.Corroboration.Within = d
}
