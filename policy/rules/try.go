package rules

import "slices"

// Difference is one lot of the past that other rules would have decided
// otherwise.
type Difference struct {
	Index    int // of the facts
	Facts    Facts
	Old, New Outcome
	What     []string // level, route, signers, deadlines
}

// Try returns what would have been decided otherwise under new rules, so that a
// policy is tried on what has happened before it is put in force. The name of a
// rule and its reason may change without a difference.
func Try(before, after *Rules, facts []Facts) []Difference {
	var out []Difference
	for i, f := range facts {
		d := Difference{Index: i, Facts: f, Old: before.Evaluate(f), New: after.Evaluate(f)}
		if d.What = differs(d.Old, d.New); d.What != nil {
			out = append(out, d)
		}
	}
	return out
}

func differs(a, b Outcome) []string {
	var out []string
	if a.Level != b.Level {
		out = append(out, "level")
	}
	if a.Route != b.Route {
		out = append(out, "route")
	}
	sameSigner := func(x, y Signer) bool { return x.Role == y.Role && x.Meaning == y.Meaning }
	if !slices.EqualFunc(a.Signers, b.Signers, sameSigner) {
		out = append(out, "signers")
	}
	sameDeadline := func(x, y Deadline) bool { return x.Within == y.Within && x.What == y.What }
	if !slices.EqualFunc(a.Deadlines, b.Deadlines, sameDeadline) {
		out = append(out, "deadlines")
	}
	return out
}
