package document

import (
	"slices"

	"lastgood/policy/catalogue"
	"lastgood/policy/limit"
)

// uses finds the field by which a limit names a ready-made one.
func uses(fields []field) (field, bool) {
	i := slices.IndexFunc(fields, func(f field) bool { return f.key == "use" })
	if i < 0 {
		return field{}, false
	}
	return fields[i], true
}

// use reads a limit whose figures come from the catalogue; false if anything is
// wrong with it. What is the plant's own, how far apart its readings may be,
// which products, since when, it still writes; a figure of the source it may
// not, since the limit says whose figures they are.
func (r *reader) use(item field, fields []field, use field) (limit.Limit, bool) {
	was := len(r.problems)
	s, ok := r.text(use)
	if !ok {
		return limit.Limit{}, false
	}
	e, err := catalogue.Find(s)
	if err != nil {
		r.problem(use.value, use.path, "unknown-use", err.Error()+" (lastgood limits lists them all)")
		return limit.Limit{}, false
	}
	open := e.Kind
	open.Parameters = e.Open()
	m := r.known(r.notFixed(fields, e, open), "a limit that uses "+e.Name, usable(open))
	name := r.name(item, m)
	own := r.values(open, m)
	var l limit.Limit
	if len(r.problems) == was {
		l = r.build(e.Kind, name, e.With(own), item, m)
		l.Text += e.Mark()
	}
	r.describe(&l, m)
	return l, len(r.problems) == was
}

// notFixed refuses the fields that the catalogue fixes and returns the others.
func (r *reader) notFixed(fields []field, e catalogue.Entry, open limit.Kind) []field {
	fixed := parameterKeys(e.Kind)
	may := parameterKeys(open)
	var out []field
	for _, f := range fields {
		switch {
		case f.key == "kind":
			r.problem(f.at, f.path, "fixed-parameter", "a limit has kind or use, not both: "+e.Name+" is of kind "+e.Kind.Name)
		case slices.Contains(fixed, f.key) && !slices.Contains(may, f.key):
			r.problem(f.at, f.path, "fixed-parameter", f.key+" is fixed by "+e.Name+
				": leave it out, or write the whole limit yourself, with kind: "+e.Kind.Name)
		default:
			out = append(out, f)
		}
	}
	return out
}

// usable are the keys that a limit with use may have.
func usable(open limit.Kind) []string {
	keys := append(parameterKeys(open), "use")
	for _, c := range common {
		if c != "kind" {
			keys = append(keys, c)
		}
	}
	return keys
}
