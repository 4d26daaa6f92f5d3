package catalogue

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"lastgood/policy/limit"
)

// Entry is one ready-made limit.
type Entry struct {
	Name       string
	Title      string
	Kind       limit.Kind
	Values     limit.Values // the parameters that the source fixes
	Parameters []Parameter  // the same as they are written in a policy
	Citation   string
	Edition    string
	Section    string
	FromMemory bool     // some figure was recalled and not seen in the source
	Confidence string   // high or medium: of the least certain figure
	Rows       []string // ids of the published rows that it came from
	Note       string   // what must hold besides and no temperature record shows; may be empty
	Caution    string   // what to know before use; may be empty

	short string
}

// Parameter is one parameter of an entry as it is written in a policy. A table
// has Rows and no Value.
type Parameter struct {
	Name  string
	Value string
	Rows  [][]string
}

// Names returns the names of all entries in order.
func Names() []string {
	all := entries()
	out := make([]string, 0, len(all))
	for name := range all {
		out = append(out, name)
	}
	slices.Sort(out)
	return out
}

// Find returns the entry of that name. Its error names those that come near.
// The values are shared: read them, or put others beside them by With.
func Find(name string) (Entry, error) {
	if e, ok := entries()[name]; ok {
		return e, nil
	}
	why := fmt.Sprintf("the catalogue has no %q", name)
	if similar := near(name, Names()); len(similar) > 0 {
		why += ": did you mean " + strings.Join(similar, ", ") + "?"
	}
	return Entry{}, errors.New(why)
}

// perProcess are the parameters that no source can fix, because they are the
// plant's own process: how far apart readings may be, and a floor below which
// its process authority counts no heat. A floor only ever asks for more.
var perProcess = []string{"max_gap", "from"}

// Open returns the parameters of the kind that the plant may still write, in
// the kind's order. Everything else is the source's, what it leaves out as
// well: time allowed above a temperature would be another limit.
func (e Entry) Open() []limit.Parameter {
	var out []limit.Parameter
	for _, p := range e.Kind.Parameters {
		if slices.Contains(perProcess, p.Name) && !e.has(p.Name) {
			out = append(out, p)
		}
	}
	return out
}

func (e Entry) has(parameter string) bool {
	return slices.ContainsFunc(e.Parameters, func(p Parameter) bool { return p.Name == parameter })
}

// Mark is what follows the text of a limit that was made from e: where its
// figures come from and what they leave out, as in " (FSIS 2021-12, Table 2)".
func (e Entry) Mark() string {
	parts := []string{e.short}
	if e.FromMemory {
		parts = append(parts, "from memory, to be confirmed")
	}
	if e.Note != "" {
		parts = append(parts, e.Note)
	}
	return " (" + strings.Join(parts, "; ") + ")"
}
