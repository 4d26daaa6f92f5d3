package routing

import (
	"slices"

	"lastgood/policy/impact"
)

// rule is one line of the table of routes.
type rule struct {
	id     string
	route  Route
	reason string
	when   func(Facts) bool
}

func (r rule) decide(f Facts) Decision {
	return Decision{Route: r.route, Rule: r.id, Reason: r.reason, Signers: signers(f, r.route)}
}

// routes is the table, read from the top. What has left the plant comes before
// what can be done with the rest, because a truck does not wait.
var routes = []rule{
	{"met", ReleaseWithRecord,
		"the limit was met after correction: the record of the failed check goes with the lot",
		Facts.met},
	{"kill-step", ReleaseWithRecord,
		"the hazard that the limit controls was cleared by a later step, proven by a good instrument: the record of both goes with the lot, and people say whether that step was validated for it",
		func(f Facts) bool {
			return f.KillStep && !f.MissedAsRecorded && (f.Verdict == "indeterminate" || f.Verdict == "unknown")
		}},
	{"shipped", RecallReview,
		"product has left the plant and its limit is not shown to have been met: people decide whether to retrieve it",
		func(f Facts) bool { return f.Shipped }},
	{"scheduled-process", HoldForProcessAuthority,
		"whether less than the whole scheduled process is enough is for a process authority; product samples cannot show it",
		func(f Facts) bool { return f.InControl && slices.Contains(sterilising, f.Kind) }},
	{"process-missed", HoldForProcessAuthority,
		"the time at temperature was not reached: only a process authority's evaluation can say what the product received",
		func(f Facts) bool { return f.InControl && f.Verdict == "missed" && slices.Contains(timed, f.Kind) }},
	{"cook-missed", Rework,
		"the temperature was not reached: the step can be repeated where repeating it is validated",
		func(f Facts) bool { return f.InControl && f.Verdict == "missed" && f.Kind == "at_least" }},
	{"cold-missed", Destroy,
		"the product was too warm and the hazard is serious: growth cannot be undone and a toxin may outlast a cook",
		func(f Facts) bool {
			return f.InControl && f.Verdict == "missed" && slices.Contains(cold, f.Kind) && grave(f.Severity)
		}},
	{"cold-missed-lesser", HoldForProcessAuthority,
		"the product was too warm: a qualified person evaluates what that did to it",
		func(f Facts) bool { return f.InControl && f.Verdict == "missed" && slices.Contains(cold, f.Kind) }},
	{"doubtful", HoldAndRetest,
		"the limit may have been missed, or nothing can be said: held until other evidence is in; a passed re-test alone never shows that the limit was met",
		func(f Facts) bool { return f.InControl && f.Verdict != "missed" }},
}

var noRoute = rule{"no-route", HoldAndRetest, "no line of the table matches, and what no line covers is held", nil}

// The kinds of limit by what can be done about a miss.
var (
	sterilising = []string{"lethality", "log_reduction"}
	timed       = []string{"hold", "dwell_table"}
	cold        = []string{"at_most", "cooling", "exposure", "growth"}
)

// met says whether the limit was met after correction. A lot that missed as
// recorded never is.
func (f Facts) met() bool { return f.Verdict == "met" && !f.MissedAsRecorded }

// grave says whether the hazard can do serious harm; not known counts as yes.
func grave(s impact.Severity) bool { return s != impact.Minor && s != impact.Moderate }

// signers returns who signs: by level, plus the process authority where the
// route waits for one or a sterilising process is at stake.
func signers(f Facts, r Route) []string {
	var out []string
	switch f.Level {
	case 1:
		out = []string{QALead, Reviewer}
	case 2, 3:
		out = []string{QALead, Verifier}
	default: // 4, 5, and a level nobody gave
		out = []string{QALead, PlantManager, RegulatoryLiaison}
	}
	if r == HoldForProcessAuthority || r == RecallReview && slices.Contains(sterilising, f.Kind) {
		out = append(out, ProcessAuthority)
	}
	return out
}
