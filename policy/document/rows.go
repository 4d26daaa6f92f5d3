package document

import (
	"fmt"

	"go.yaml.in/yaml/v4"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
)

// rows reads a table: a list of rows, each a list of temperatures and a time.
// Everything that is wrong in it is told at once.
func (r *reader) rows(p limit.Parameter, f field, m map[string]field) ([]limit.Row, bool) {
	was := len(r.problems)
	items := r.items(f)
	if f.value.Kind == yaml.SequenceNode && len(items) == 0 {
		r.problem(f.value, f.path, "empty", f.key+" is empty: it needs at least one row, as in "+rowExample(p.Temperatures))
	}
	var out []limit.Row
	for i, item := range items {
		m[index(p.Name, i)] = item
		if row, ok := r.row(p, item); ok {
			out = append(out, row)
		}
	}
	return out, len(r.problems) == was
}

func (r *reader) row(p limit.Parameter, item field) (limit.Row, bool) {
	n := p.Temperatures
	if item.value.Kind != yaml.SequenceNode || len(item.value.Content) != n+1 {
		r.problem(item.value, item.path, "wrong-type", fmt.Sprintf("a row of %s is a list of %d values, as in %s", item.key, n+1, rowExample(n)))
		return limit.Row{}, false
	}
	cells := r.items(item)
	good := true
	row := limit.Row{Temperatures: make([]unit.Temperature, n)}
	for i := range n {
		t, ok := r.temperature(cells[i])
		row.Temperatures[i], good = t, good && ok
	}
	d, ok := r.duration(cells[n])
	row.Time = d
	return row, good && ok
}

// rowExample is a row with that many temperatures.
func rowExample(temperatures int) string {
	if temperatures == 2 {
		return "[57 C, 21 C, 2h]"
	}
	return "[130 F, 112m]"
}
