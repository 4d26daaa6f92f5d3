package document

import (
	"errors"
	"slices"
	"strings"
	"time"

	"go.yaml.in/yaml/v4"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
)

// common are the keys that a limit of any kind may have.
var common = []string{"limit", "kind", "hazard", "monitoring", "applies_to", "valid_from", "valid_until"}

// limits reads the list of limits.
func (r *reader) limits(f field, p *Policy) {
	items := r.items(f)
	if f.value.Kind == yaml.SequenceNode && len(items) == 0 {
		r.problem(f.value, f.path, "empty", "limits is empty: a policy needs at least one")
	}
	versions := map[string][]limit.Limit{}
	for _, item := range items {
		l, ok := r.limit(item)
		if !ok {
			continue
		}
		if slices.ContainsFunc(versions[l.Name], func(other limit.Limit) bool { return overlap(other, l) }) {
			r.problem(item.value, item.path, "overlapping-versions", "two versions of the limit "+l.Name+
				" are in force at the same time: end one with valid_until where the next has its valid_from")
		}
		versions[l.Name] = append(versions[l.Name], l)
		p.Limits = append(p.Limits, l)
	}
}

// overlap says whether two versions are ever in force together.
func overlap(a, b limit.Limit) bool {
	before := func(end, start *time.Time) bool { return end != nil && start != nil && !end.After(*start) }
	return !before(a.ValidUntil, b.ValidFrom) && !before(b.ValidUntil, a.ValidFrom)
}

// limit reads one limit; false if anything is wrong with it.
func (r *reader) limit(item field) (limit.Limit, bool) {
	was := len(r.problems)
	fields := r.fields(item.value, item.path)
	if len(fields) == 0 && len(r.problems) > was {
		return limit.Limit{}, false
	}
	if f, ok := uses(fields); ok {
		return r.use(item, fields, f)
	}
	kind, ok := r.kind(item, fields)
	if !ok {
		return limit.Limit{}, false
	}
	allowed := append(parameterKeys(kind), common...)
	m := r.known(fields, "a limit of kind "+kind.Name, allowed)
	name := r.name(item, m)
	values := r.values(kind, m)
	var l limit.Limit
	if len(r.problems) == was {
		// Only what was read without a fault is judged as a whole: a parameter
		// that was refused is not also missing.
		l = r.build(kind, name, values, item, m)
	}
	r.describe(&l, m)
	return l, len(r.problems) == was
}

// kind finds the kind of a limit.
func (r *reader) kind(item field, fields []field) (limit.Kind, bool) {
	i := slices.IndexFunc(fields, func(f field) bool { return f.key == "kind" })
	if i < 0 {
		r.problem(item.value, item.path+".kind", "missing-parameter", "a limit needs kind: "+oneOf(limit.KindNames())+", or use: a ready-made limit")
		return limit.Kind{}, false
	}
	s, ok := r.scalar(fields[i])
	if !ok {
		return limit.Kind{}, false
	}
	k, err := limit.Lookup(s)
	if err != nil {
		r.problem(fields[i].value, fields[i].path, "unknown-kind", err.Error())
	}
	return k, err == nil
}

func (r *reader) name(item field, m map[string]field) string {
	f, ok := m["limit"]
	if !ok {
		r.problem(item.value, item.path+".limit", "missing-parameter", "a limit needs limit, its name")
		return ""
	}
	s, _ := r.text(f)
	return s
}

// parameterKeys are the keys that a kind's parameters are written under.
func parameterKeys(k limit.Kind) []string {
	var out []string
	for _, p := range k.Parameters {
		key, _, _ := strings.Cut(p.Name, ".")
		if !slices.Contains(out, key) {
			out = append(out, key)
		}
	}
	return out
}

// values reads the parameters of a kind, the ones of a mapping inside the limit
// too.
func (r *reader) values(k limit.Kind, m map[string]field) limit.Values {
	v := limit.Values{
		Temperature: map[string]unit.Temperature{}, Difference: map[string]unit.Diff{},
		Duration: map[string]time.Duration{}, Number: map[string]float64{},
		Rows: map[string][]limit.Row{}, Word: map[string]string{},
	}
	inner := map[string][]string{}
	for _, p := range k.Parameters {
		if key, sub, nested := strings.Cut(p.Name, "."); nested {
			inner[key] = append(inner[key], sub)
		}
	}
	for key, subs := range inner {
		if f, ok := m[key]; ok {
			given := r.fields(f.value, f.path)
			if f.value.Kind == yaml.MappingNode && len(given) == 0 {
				r.problem(f.value, f.path, "empty", key+" is empty: it may have "+list(subs))
			}
			for sub, g := range r.known(given, key, subs) {
				m[key+"."+sub] = g
			}
		}
	}
	for _, p := range k.Parameters {
		if f, ok := m[p.Name]; ok {
			r.value(p, f, v, m)
		}
	}
	return v
}

// value reads one parameter. Where it has rows, m learns where each of them is,
// so that a row that the kind refuses can be pointed at.
func (r *reader) value(p limit.Parameter, f field, v limit.Values, m map[string]field) {
	switch p.Form {
	case limit.Temperature:
		if t, ok := r.temperature(f); ok {
			v.Temperature[p.Name] = t
		}
	case limit.Difference:
		if d, ok := r.difference(f); ok {
			v.Difference[p.Name] = d
		}
	case limit.Duration:
		if d, ok := r.duration(f); ok {
			v.Duration[p.Name] = d
		}
	case limit.Number:
		if n, ok := r.number(f); ok {
			v.Number[p.Name] = n
		}
	case limit.Rows:
		if rows, ok := r.rows(p, f, m); ok {
			v.Rows[p.Name] = rows
		}
	case limit.Word:
		if w, ok := r.word(f, p.Words...); ok {
			v.Word[p.Name] = w
		}
	}
}

// build makes the limit and puts what the kind refuses where it was written.
func (r *reader) build(k limit.Kind, name string, v limit.Values, item field, m map[string]field) limit.Limit {
	l, err := k.New(name, v)
	if err == nil {
		return l
	}
	at, path, rule, detail := item.value, item.path, "not-valid", err.Error()
	var p *limit.ParameterError
	if errors.As(err, &p) {
		path, rule, detail = join(item.path, p.Parameter), p.Rule, p.Detail
		if f, ok := m[p.Parameter]; ok {
			at = f.value
		}
	}
	r.problem(at, path, rule, detail)
	return limit.Limit{}
}

// describe reads what a limit of any kind may say besides.
func (r *reader) describe(l *limit.Limit, m map[string]field) {
	if f, ok := m["hazard"]; ok {
		l.Hazard, _ = r.text(f)
	}
	if f, ok := m["monitoring"]; ok {
		l.Monitoring, _ = r.word(f, limit.Discrete, limit.Continuous, limit.OnException)
	}
	if f, ok := m["applies_to"]; ok {
		a := r.known(r.fields(f.value, f.path), "applies_to", []string{"products", "locations"})
		l.AppliesTo = limit.AppliesTo{Products: r.names(a, "products"), Locations: r.names(a, "locations")}
	}
	if f, ok := m["monitoring"]; ok && l.Monitoring == limit.OnException && len(l.AppliesTo.Products) == 0 {
		r.problem(f.value, f.path, "missing-parameter", "a limit of which only exceptions are recorded needs applies_to with products: nothing else tells which lots were made under it")
	}
	if f, ok := m["valid_from"]; ok {
		l.ValidFrom, _ = r.moment(f)
	}
	if f, ok := m["valid_until"]; ok {
		l.ValidUntil, _ = r.moment(f)
		if l.ValidUntil != nil && l.ValidFrom != nil && !l.ValidUntil.After(*l.ValidFrom) {
			r.problem(f.value, f.path, "out-of-range", "valid_until must be after valid_from")
		}
	}
}

// names reads a list of names.
func (r *reader) names(m map[string]field, key string) []string {
	f, ok := m[key]
	if !ok {
		return nil
	}
	var out []string
	for _, item := range r.items(f) {
		if s, ok := r.text(item); ok {
			out = append(out, s)
		}
	}
	if len(out) == 0 && f.value.Kind == yaml.SequenceNode && len(f.value.Content) == 0 {
		r.problem(f.value, f.path, "empty", key+" is empty: name at least one or leave it out")
	}
	return out
}
