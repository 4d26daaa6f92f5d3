package rules

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"go.yaml.in/yaml/v4"
)

// reader walks the rules of a document and gathers what is wrong with them.
type reader struct {
	text     source
	problems []Problem
}

// maxProblems is how many problems are told at once; behind them, conditions are
// not compiled.
const maxProblems = 200

// maxLines is how many rules one part may have.
const maxLines = 100

func (r *reader) problem(n *yaml.Node, path, rule, detail string) {
	r.problemAt(n.Line, n.Column, path, rule, detail)
}

func (r *reader) problemAt(line, column int, path, rule, detail string) {
	if len(r.problems) < maxProblems {
		r.problems = append(r.problems, Problem{max(line, 1), max(column, 1), path, rule, detail})
	}
}

// field is one key of a mapping, or one item of a list, with its value.
type field struct {
	key, path string
	at, value *yaml.Node
}

// fields returns the fields of a mapping. It refuses whatever is no mapping and
// a key that is no word or is there twice.
func (r *reader) fields(n *yaml.Node, path string) []field {
	if n.Kind != yaml.MappingNode {
		r.problem(n, path, "wrong-type", "this must be a mapping, as in {name: value}")
		return nil
	}
	var out []field
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		if k.Kind != yaml.ScalarNode {
			r.problem(k, path, "wrong-type", "a key must be a word")
			continue
		}
		f := field{k.Value, join(path, k.Value), k, v}
		if slices.ContainsFunc(out, func(o field) bool { return o.key == f.key }) {
			r.problem(k, f.path, "duplicate-key", "the key "+f.key+" is there twice")
			continue
		}
		out = append(out, f)
	}
	return out
}

// known returns the fields by key. It refuses those whose keys are not allowed,
// and says which are missing.
func (r *reader) known(f field, where string, needed []string, allowed ...string) map[string]field {
	out := map[string]field{}
	all := append(slices.Clone(needed), allowed...)
	for _, k := range r.fields(f.value, f.path) {
		if !slices.Contains(all, k.key) {
			r.problem(k.at, k.path, "unknown-key", where+" has no key "+k.key+": it may have "+list(all))
			continue
		}
		out[k.key] = k
	}
	for _, k := range needed {
		if _, there := out[k]; !there && f.value.Kind == yaml.MappingNode {
			r.problem(f.value, join(f.path, k), "missing-key", where+" needs "+list(needed))
		}
	}
	return out
}

// items returns the items of a list of rules.
func (r *reader) items(f field) []field {
	switch {
	case f.value.Kind != yaml.SequenceNode:
		r.problem(f.value, f.path, "wrong-type", f.key+" must be a list of rules")
		return nil
	case len(f.value.Content) == 0:
		r.problem(f.value, f.path, "empty", f.key+" is empty: write at least one rule, or leave it out and the built-in ones apply")
	case len(f.value.Content) > maxLines:
		r.problem(f.value.Content[maxLines], f.path, "too-many", f.key+" has more than "+strconv.Itoa(maxLines)+" rules")
		return nil
	}
	var out []field
	for i, v := range f.value.Content {
		out = append(out, field{f.key, f.path + "[" + strconv.Itoa(i) + "]", v, v})
	}
	return out
}

// value refuses whatever is not one plain value.
func (r *reader) value(f field) (string, bool) {
	n := f.value
	switch {
	case n.Kind == yaml.AliasNode, n.Anchor != "":
		r.problem(n, f.path, "not-supported", "anchors and aliases are not supported: write the value out")
	case n.Kind == yaml.ScalarNode && n.Style&yaml.TaggedStyle != 0:
		r.problem(n, f.path, "not-text", "what begins with ! is a tag in YAML: write the whole of "+f.key+" in quotes, as in '!shipped'")
	case n.Kind != yaml.ScalarNode || n.ShortTag() == "!!null":
		r.problem(n, f.path, "wrong-type", f.key+" must be one value: write it in quotes if it begins with [ or {")
	default:
		return n.Value, true
	}
	return "", false
}

// maxSentence bounds what a person writes [characters].
const maxSentence = 500

// sentence reads a text for people.
func (r *reader) sentence(f field) string {
	s, ok := r.string(f)
	if !ok {
		return ""
	}
	s = strings.TrimSpace(s)
	if s == "" || len([]rune(s)) > maxSentence || strings.ContainsFunc(s, func(c rune) bool { return c < ' ' || c == 0x7f }) {
		r.problem(f.value, f.path, "not-a-sentence", f.key+" is one line of at most 500 characters")
	}
	return s
}

// string reads a value that YAML takes for text.
func (r *reader) string(f field) (string, bool) {
	s, ok := r.value(f)
	if ok && f.value.ShortTag() != "!!str" {
		r.problem(f.value, f.path, "not-text", s+" is not text in YAML: write it in quotes, \""+s+"\"")
		return "", false
	}
	return s, ok
}

// word reads one of a few words.
func (r *reader) word(f field, rule string, allowed []string) string {
	s, ok := r.value(f)
	if ok && !slices.Contains(allowed, s) {
		r.problem(f.value, f.path, rule, f.key+" is "+s+": write "+oneOf(allowed))
	}
	return s
}

// whole reads a whole number from 1.
func (r *reader) whole(f field, most int) int {
	s, ok := r.value(f)
	if !ok {
		return 0
	}
	if len(s) != 1 || s[0] < '1' || int(s[0]-'0') > most {
		r.problem(f.value, f.path, "out-of-range", f.key+" is "+s+": write a whole number from 1 to "+strconv.Itoa(most))
		return 0
	}
	return int(s[0] - '0')
}

// longest is the longest time that a deadline may give.
const longest = 366 * 24 * time.Hour

func (r *reader) duration(f field) time.Duration {
	s, ok := r.value(f)
	if !ok {
		return 0
	}
	d, err := time.ParseDuration(s)
	switch {
	case err != nil:
		r.problem(f.value, f.path, "bad-duration", s+" is not a duration: write 30m, 24h or 168h")
	case d < time.Minute || d > longest:
		r.problem(f.value, f.path, "out-of-range", f.key+" is from 1m to 8784h, a year")
	}
	return d
}

var namePattern = regexp.MustCompile(`^[a-z][a-z0-9]*(-[a-z0-9]+)*$`)

// maxName bounds the name of a rule, which stands in every table and log.
const maxName = 40

// name reads the name of a rule, which decisions are filed under for good.
func (r *reader) name(f field, seen map[string]bool) string {
	s, ok := r.value(f)
	switch {
	case !ok:
	case !namePattern.MatchString(s) || len(s) > maxName:
		r.problem(f.value, f.path, "bad-name", s+" is not the name of a rule: write small letters, digits and hyphens, as in cold-missed")
	case slices.Contains(reserved, s):
		r.problem(f.value, f.path, "reserved-name", s+" is what the program says where no rule decides: choose another name")
	case seen[s]:
		r.problem(f.value, f.path, "duplicate-name", "another rule here is called "+s+" too: a decision must say which of them it was")
	}
	seen[s] = true
	return s
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// list returns "a, b and c".
func list(words []string) string { return enumerate(words, " and ") }

// oneOf returns "a, b or c".
func oneOf(words []string) string { return enumerate(words, " or ") }

func enumerate(words []string, last string) string {
	n := len(words) - 1
	if n == 0 {
		return words[0]
	}
	return strings.Join(words[:n], ", ") + last + words[n]
}
