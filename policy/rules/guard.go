package rules

import (
	"slices"
	"time"
)

// What the program says where no rule of the document decides.
const (
	noRuleName  = "no-rule"
	noRouteName = "no-route"
	refusedName = "not-released"
	failedName  = "not-evaluated"
	atLeastTwo  = "at-least-two"
	authority   = "process-authority-signs"
)

var reserved = []string{noRuleName, noRouteName, refusedName, failedName, atLeastTwo, authority}

const highest = 5

// noRule and noRoute apply where the rules are silent: whatever nobody thought
// of is looked at by more people, not by fewer, and stays where it is.
var (
	noRule = levelLine{line{name: noRuleName}, 4,
		"no rule of the table matches, and what no rule covers is level 4"}
	noRoute = routeLine{line{name: noRouteName}, HoldAndRetest,
		"no line of the table matches, and what no line covers is held"}
)

// floor is the least level that rules may give, and why. A plant may rate a lot
// higher than the built-in rules do, or lower, with two bounds. The facts that
// may make a notice to an authority due stay at the level at which the
// regulatory liaison signs; and a lot that is not shown to have met its limit is
// more than a record.
func floor(f Facts) (int, string) {
	switch {
	case f.Verdict == met:
		return 1, ""
	case f.Shipped && (f.Verdict == missed || f.Verdict == unknown) && f.grave() && !f.cleared():
		return highest, "what has shipped, missed its limit or cannot be judged, and can do serious harm is level 5 by any rules"
	}
	return 2, "what is not shown to have met its limit is level 2 at least by any rules"
}

// releasable says whether rules may release a lot: if it met its limit after
// correction, or if the limit may have been missed and a later step proven by a
// good instrument controls the hazard.
func releasable(f Facts) bool { return f.Verdict == met || f.cleared() }

// refused is what becomes of a rule that would release what may not be.
func refused(l routeLine) routeLine {
	return routeLine{line{name: refusedName}, HoldAndRetest,
		"the rule " + l.name + " would release it, and no rule releases what is not shown to have met its limit: held"}
}

// everyone signs where the rules name fewer than two: a decision takes a proposer and
// another person who approves it.
var everyone = []Signer{
	{QALead, "proposes the disposition", atLeastTwo},
	{PlantManager, "approves it for the plant", atLeastTwo},
	{RegulatoryLiaison, "has judged what must be reported, and to whom", atLeastTwo},
}

// enough returns the signers, with those who must sign by any rules.
func enough(s []Signer, r Route) []Signer {
	if len(s) < 2 {
		s = slices.Clone(everyone)
	}
	if r == HoldForProcessAuthority && !signs(s, ProcessAuthority) {
		s = append(s, Signer{ProcessAuthority, "has evaluated what the product received", authority})
	}
	return s
}

func signs(s []Signer, role string) bool {
	return slices.ContainsFunc(s, func(o Signer) bool { return o.Role == role })
}

// failure is a rule that could not be evaluated.
type failure struct {
	rule  string
	cause error
}

// Error names the rule and the cause.
func (f *failure) Error() string {
	return "the rule " + f.rule + " could not be evaluated: " + f.cause.Error()
}

// decideByHand is how long people have to decide where the rules cannot.
const decideByHand = 24 * time.Hour

// fallback is what a lot gets if any rule cannot be evaluated: nothing that the
// others decided is relied on, except a higher level.
func (r *Rules) fallback(a *activation, err error) Outcome {
	least, _ := floor(a.facts)
	why := err.Error()
	return Outcome{
		Level: max(noRule.level, least, a.outcome.Level), LevelRule: failedName, LevelReason: why + "; it counts as level 4 at least",
		Route: HoldAndRetest, RouteRule: failedName, RouteReason: why + ": held", Means: r.means[HoldAndRetest],
		Signers:   slices.Clone(everyone),
		Deadlines: []Deadline{{decideByHand, "decide by hand, and mend the rule", failedName}},
	}
}
