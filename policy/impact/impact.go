// Package impact scores how bad it is that a lot is in doubt, to order the work
// inside a level. The level is given by rules, in policy/rules: rules come before
// arithmetic, so that a low number cannot hide a bad fact.
//
// The score lowers no legal duty, sets no recall class and decides nothing that
// must be reported: people do.
package impact

import "math"

// Severity is how badly the hazard that a limit controls can hurt somebody.
type Severity string

// The severities. An empty or foreign one is unknown and counts as Serious.
const (
	Minor    Severity = "minor"
	Moderate Severity = "moderate"
	Serious  Severity = "serious"
	Fatal    Severity = "fatal"
)

// Facts are what the score of one lot under one limit hangs on. What is not
// known counts as the worse.
type Facts struct {
	Verdict           string   // met, indeterminate, missed or unknown
	MissedAsRecorded  bool     // the readings missed the limit before any correction
	ProbabilityMissed *float64 // nil: nothing can be said

	Shipped      bool     // some of the lot, or of what was made of it, has left
	ShippedShare *float64 // of the quantity in doubt, 0 to 1; nil: unknown
	Consignees   *int     // how many received it; nil: unknown

	Severity   Severity
	ReadyToEat *bool
	Vulnerable *bool // consumers are vulnerable: infants, the old, the sick
}

// Factor is one number in a score and why it has that value.
type Factor struct {
	Name   string
	Value  float64
	Reason string
}

// Scored is a score with everything that it is made of.
type Scored struct {
	Score   int      // 0 to 100, orders work inside the level
	Factors []Factor // Score is 100 times their product, rounded
	Method  string
}

// Method names this way of scoring; another formula is another name.
const Method = "impact/default@3"

// Score returns the score of f.
func Score(f Facts) Scored {
	f = f.settled()
	factors := []Factor{severity(f), likelihood(f), reach(f)}
	return Scored{Score: score(factors), Factors: factors, Method: Method}
}

// settled returns f with contradictions resolved towards the worse: a lot that
// missed as recorded is never met by correcting the failed instrument, a
// verdict nobody knows is unknown, and a number that cannot be is unknown.
func (f Facts) settled() Facts {
	switch f.Verdict {
	case indeterminate, missed, unknown:
	case met:
		if f.MissedAsRecorded {
			f.Verdict = indeterminate
		}
	default:
		f.Verdict = unknown
	}
	f.ProbabilityMissed = share(f.ProbabilityMissed)
	f.ShippedShare = share(f.ShippedShare)
	if f.Consignees != nil && *f.Consignees < 1 { // somebody received what has shipped
		f.Consignees = nil
	}
	return f
}

// share returns p if it is a number from 0 to 1, and unknown otherwise.
func share(p *float64) *float64 {
	if p == nil || math.IsNaN(*p) || *p < 0 || *p > 1 {
		return nil
	}
	return p
}

// The verdicts, as policy/limit writes them.
const (
	met           = "met"
	indeterminate = "indeterminate"
	missed        = "missed"
	unknown       = "unknown"
)
