package workflow

import (
	"fmt"
	"reflect"
	"slices"

	"go.yaml.in/yaml/v4"

	"lastgood/policy/rules"
)

// policyChange is one thing that another policy says otherwise than the one in
// force.
type policyChange struct {
	Part   string `json:"part"`          // limits, rules, signers, decision_rule …: a key of the document
	Name   string `json:"name,omitzero"` // of a limit or a rule; empty: the part as a whole
	Change string `json:"change"`        // added, removed, changed, reordered
	Was    any    `json:"was,omitempty"` // as it is written, with every figure
	Now    any    `json:"now,omitempty"`
}

// policyChanges compares two documents by what they say, so that layout and
// comments are no change. What is not written is the program's own in both.
func policyChanges(was, now []byte) ([]policyChange, error) {
	before, err := documentParts(was)
	if err != nil {
		return nil, err
	}
	after, err := documentParts(now)
	if err != nil {
		return nil, err
	}
	out := []policyChange{}
	for _, part := range eitherOrder(before.order, after.order) {
		if key := itemName(part); key != "" {
			out = append(out, comparedItems(part, itemsByName(before.of[part], key), itemsByName(after.of[part], key))...)
		} else if c, ok := comparedPart(part, "", before.of[part], after.of[part]); ok {
			out = append(out, c)
		}
	}
	return out, nil
}

// itemName is the key by which the items of a part have a name; empty: the part is
// one setting. Rules without a name of their own are nowhere: each needs one.
func itemName(part string) string {
	switch {
	case part == "limits":
		return "limit"
	case part != "routes" && slices.Contains(rules.Keys(), part): // routes says what each of them means
		return "rule"
	}
	return ""
}

// saidUnder is a mapping in the order in which it is written.
type saidUnder struct {
	order []string
	of    map[string]any
}

func (s *saidUnder) add(name string, v any) {
	if _, there := s.of[name]; !there {
		s.order = append(s.order, name)
	}
	s.of[name] = v
}

// documentParts returns what a document says under each of its keys.
func documentParts(text []byte) (saidUnder, error) {
	out := saidUnder{of: map[string]any{}}
	var doc yaml.Node
	if err := yaml.Unmarshal(text, &doc); err != nil {
		return out, fmt.Errorf("policy: %w", err)
	}
	root := doc.Content[0] // it was understood before: one document, a mapping
	for i := 0; i+1 < len(root.Content); i += 2 {
		out.add(root.Content[i].Value, plainNode(root.Content[i+1]))
	}
	return out, nil
}

// plainNode is what a node says: words, lists and mappings.
func plainNode(n *yaml.Node) any {
	switch n.Kind {
	case yaml.MappingNode:
		m := map[string]any{}
		for i := 0; i+1 < len(n.Content); i += 2 {
			m[n.Content[i].Value] = plainNode(n.Content[i+1])
		}
		return m
	case yaml.SequenceNode:
		l := []any{}
		for _, c := range n.Content {
			l = append(l, plainNode(c))
		}
		return l
	}
	return n.Value
}

// itemsByName gathers the items of a part by name. A limit may have several versions, so
// what stands under a name is a list.
func itemsByName(part any, key string) saidUnder {
	out := saidUnder{of: map[string]any{}}
	items, _ := part.([]any)
	for _, item := range items {
		m, _ := item.(map[string]any)
		name, _ := m[key].(string)
		versions, _ := out.of[name].([]any)
		out.add(name, append(versions, item))
	}
	return out
}

// comparedItems compares a part item by item, and then the order of what stayed: where the
// first rule that matches decides, order is content.
func comparedItems(part string, was, now saidUnder) []policyChange {
	var out []policyChange
	for _, name := range eitherOrder(was.order, now.order) {
		if c, ok := comparedPart(part, name, was.of[name], now.of[name]); ok {
			out = append(out, c)
		}
	}
	stayed := func(a, b saidUnder) []string {
		return slices.DeleteFunc(slices.Clone(a.order), func(name string) bool { return b.of[name] == nil })
	}
	if a, b := stayed(was, now), stayed(now, was); part != "limits" && !slices.Equal(a, b) {
		out = append(out, policyChange{Part: part, Change: "reordered", Was: was.order, Now: now.order})
	}
	return out
}

// comparedPart compares one thing; nil: it is not there.
func comparedPart(part, name string, was, now any) (policyChange, bool) {
	c := policyChange{Part: part, Name: name, Change: "changed", Was: was, Now: now}
	switch {
	case was == nil && now != nil:
		c.Change = "added"
	case was != nil && now == nil:
		c.Change = "removed"
	case reflect.DeepEqual(was, now):
		return c, false
	}
	return c, true
}

// eitherOrder is what stands in either list, in the order of the second.
func eitherOrder(was, now []string) []string {
	out := slices.Clone(now)
	for _, s := range was {
		if !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}
