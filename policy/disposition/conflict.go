package disposition

import (
	"cmp"
	"slices"
	"strings"
)

// Act is one deed in the history of a deviation.
type Act struct {
	Deed Deed
	By   string // the person
	// For lists whom they stood in for, with all deputies in between. A deed of a
	// deputy counts for the deputy and for everyone named here.
	For  []string
	Role Role // in which they did it; empty: not known
	// Disposition is what a proposal or an approval is of; of retrieved product, its
	// second one. Empty where it is not said: it counts as a release.
	Disposition Disposition
	// Subjects are what it is about: portions, a check, a standard, a rule version;
	// of a reading, a reference and production, the portions that rest on it. Empty:
	// all of the deviation.
	Subjects []string
}

// Conflict is two deeds that one person may not both do.
type Conflict struct {
	Rule          string
	Clause        string // of the design notes on signing; empty: not numbered there
	Person        string // who did both, or stood in for who did
	First, Second int    // where both stand in the history, from 0
	Why           string
	Exception     Exception
	Source        string
}

// Conflicts returns every conflict in a history, over all of it: a deed that was
// undone later, and a change of role in between, cure nothing. A deed that nobody
// is named for is a conflict of its own, because nobody can say whose it is.
func Conflicts(acts []Act) []Conflict {
	found := unnamed(acts)
	for _, row := range pairs {
		for i, a := range acts {
			if !slices.Contains(row.first, a.Deed) {
				continue
			}
			for j, b := range acts {
				if c, ok := row.conflict(i, j, a, b); ok {
					found = append(found, c)
				}
			}
		}
	}
	slices.SortStableFunc(found, func(x, y Conflict) int {
		return cmp.Or(cmp.Compare(place(x.Rule), place(y.Rule)), cmp.Compare(x.First, y.First), cmp.Compare(x.Second, y.Second))
	})
	return found
}

func place(rule string) int {
	return slices.IndexFunc(pairs, func(p pair) bool { return p.rule == rule })
}

// conflict compares two deeds by one row.
func (p pair) conflict(i, j int, a, b Act) (Conflict, bool) {
	both := slices.Contains(p.first, b.Deed) && slices.Contains(p.second, a.Deed) // a row of a deed with itself
	switch {
	case i == j, both && i > j, !slices.Contains(p.second, b.Deed):
		return Conflict{}, false
	case p.where == ofARelease && b.Disposition != Release && b.Disposition != "":
		return Conflict{}, false
	case p.where == inTwoRoles && a.Role == b.Role && a.Role != "": // once more, of a later version
		return Conflict{}, false
	case p.where != ofAnything && !meet(a.Subjects, b.Subjects):
		return Conflict{}, false
	}
	who := common(a, b)
	if who == "" {
		return Conflict{}, false
	}
	return Conflict{p.rule, p.clause, who, i, j, p.why, p.terms(a, b), p.source}, true
}

// meet says whether two deeds are about the same, in part at least.
func meet(x, y []string) bool {
	if len(x) == 0 || len(y) == 0 {
		return true
	}
	return slices.ContainsFunc(x, func(s string) bool { return slices.Contains(y, s) })
}

// people are all whom a deed counts for.
func (a Act) people() []string {
	var out []string
	for _, p := range append([]string{a.By}, a.For...) {
		if p = strings.TrimSpace(p); p != "" {
			out = append(out, p)
		}
	}
	return out
}

// common returns somebody whom both deeds count for, the person who acted before
// those stood in for; empty: nobody.
func common(a, b Act) string {
	theirs := b.people()
	for _, p := range a.people() {
		if slices.Contains(theirs, p) {
			return p
		}
	}
	return ""
}

// unnamed lists the deeds that no person is named for.
func unnamed(acts []Act) []Conflict {
	var out []Conflict
	for i, a := range acts {
		if strings.TrimSpace(a.By) == "" {
			out = append(out, Conflict{Rule: "nobody-named", First: i, Second: i,
				Why: "nobody is named for it, and who did not do it cannot be shown", Exception: NoException, Source: practice})
		}
	}
	return out
}
