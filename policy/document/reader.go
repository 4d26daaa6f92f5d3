package document

import (
	"cmp"
	"slices"
	"strings"

	"go.yaml.in/yaml/v4"
)

// reader walks a document and gathers what is wrong with it.
type reader struct {
	problems []Problem
}

// maxProblems is how many problems are told at once; a document with more is
// something else than a policy.
const maxProblems = 200

func (r *reader) problem(n *yaml.Node, path, rule, detail string) {
	if len(r.problems) == maxProblems {
		return
	}
	r.problems = append(r.problems, Problem{max(n.Line, 1), max(n.Column, 1), path, rule, detail})
}

// inOrder returns the problems as a person meets them in the document.
func (r *reader) inOrder() []Problem {
	slices.SortStableFunc(r.problems, func(a, b Problem) int { return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column)) })
	return r.problems[:min(len(r.problems), maxProblems)]
}

// field is one key of a mapping with its value.
type field struct {
	key   string
	path  string
	at    *yaml.Node // the key
	value *yaml.Node
}

// fields returns the fields of a mapping in the order of the document. It
// refuses anything that is no mapping, a key that is no word, and the second of
// two equal keys.
func (r *reader) fields(n *yaml.Node, path string) []field {
	if n.Kind != yaml.MappingNode {
		r.problem(n, path, "wrong-type", "this must be a mapping, as in {name: value}")
		return nil
	}
	var out []field
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		if k.Kind != yaml.ScalarNode {
			r.problem(k, path, "wrong-type", "a key must be a word")
			continue
		}
		f := field{k.Value, join(path, k.Value), k, v}
		if seen[f.key] {
			r.problem(k, f.path, "duplicate-key", "the key "+f.key+" is there twice")
			continue
		}
		seen[f.key] = true
		out = append(out, f)
	}
	return out
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// known refuses the fields whose keys are not allowed and returns the others by
// key.
func (r *reader) known(fields []field, where string, allowed []string) map[string]field {
	out := map[string]field{}
	for _, f := range fields {
		if !slices.Contains(allowed, f.key) {
			r.problem(f.at, f.path, "unknown-key", where+" has no key "+f.key+": it may have "+list(allowed))
			continue
		}
		out[f.key] = f
	}
	return out
}

// items returns the items of a sequence, each as a field with its path.
func (r *reader) items(f field) []field {
	if f.value.Kind != yaml.SequenceNode {
		r.problem(f.value, f.path, "wrong-type", f.key+" must be a list")
		return nil
	}
	var out []field
	for i, v := range f.value.Content {
		out = append(out, field{f.key, index(f.path, i), v, v})
	}
	return out
}

// list returns "a, b and c".
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

// oneOf returns "a, b or c".
func oneOf(words []string) string {
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " or " + words[last]
}
