package catalogue

import (
	"cmp"
	"slices"
	"strings"

	"lastgood/policy/spelling"
)

// suggestions is how many names an error offers.
const suggestions = 3

// near returns the names that come nearest to a name that is not there. Names
// are words with hyphens, and what people get wrong is a word or its spelling,
// so words in common count first and letters second.
func near(name string, names []string) []string {
	type candidate struct {
		name  string
		words int // in common
		edits int // letters that differ
	}
	wanted := strings.Split(strings.ToLower(name), "-")
	var found []candidate
	for _, n := range names {
		c := candidate{name: n, edits: spelling.Slips(strings.ToLower(name), n)}
		for _, w := range strings.Split(n, "-") {
			if slices.Contains(wanted, w) {
				c.words++
			}
		}
		if c.words > 1 || c.edits <= len(name)/3 {
			found = append(found, c)
		}
	}
	slices.SortFunc(found, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(b.words, a.words), cmp.Compare(a.edits, b.edits), cmp.Compare(a.name, b.name))
	})
	var out []string
	for _, c := range found[:min(len(found), suggestions)] {
		out = append(out, c.name)
	}
	return out
}
