package rules

import "slices"

// Differences returns in what one outcome differs from another: level, route,
// signers, deadlines. A policy is tried so on what has happened before it is put
// in force. The name of a rule and its reason may change without a difference.
func Differences(was, would Outcome) []string {
	var out []string
	if was.Level != would.Level {
		out = append(out, "level")
	}
	if was.Route != would.Route {
		out = append(out, "route")
	}
	sameSigner := func(x, y Signer) bool { return x.Role == y.Role && x.Meaning == y.Meaning }
	if !slices.EqualFunc(was.Signers, would.Signers, sameSigner) {
		out = append(out, "signers")
	}
	sameDeadline := func(x, y Deadline) bool { return x.Within == y.Within && x.What == y.What }
	if !slices.EqualFunc(was.Deadlines, would.Deadlines, sameDeadline) {
		out = append(out, "deadlines")
	}
	return out
}
