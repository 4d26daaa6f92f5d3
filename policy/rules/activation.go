package rules

import (
	"cel.dev/cel-go/cel"
	"cel.dev/cel-go/common/types"
	"cel.dev/cel-go/common/types/ref"
)

// activation is what conditions read the facts of one lot from. A fact is read
// when the first condition asks for it, since most ask for few.
type activation struct {
	facts   Facts
	outcome Outcome // as far as it is decided
	values  []ref.Val
}

func newActivation(f Facts) *activation {
	return &activation{facts: f, values: make([]ref.Val, len(vocabulary))}
}

// ResolveName returns the fact of that name.
func (a *activation) ResolveName(name string) (any, bool) {
	i, ok := places[name]
	if !ok {
		return nil, false
	}
	if a.values[i] == nil {
		a.values[i] = vocabulary[i].value(&a.facts, &a.outcome)
	}
	return a.values[i], true
}

// Parent returns nothing: there are no other facts.
func (a *activation) Parent() cel.Activation { return nil }

// matches evaluates the condition of a line.
func (l line) matches(a *activation) (bool, error) {
	v, _, err := l.program.Eval(a)
	if err != nil {
		return false, &failure{l.name, err}
	}
	b, ok := v.(types.Bool)
	if !ok {
		return false, &failure{l.name, errNotBoolean}
	}
	return bool(b), nil
}
