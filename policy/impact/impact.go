// Package impact says how bad it is that a lot is in doubt: a level by rules,
// then a score that orders the work inside the level.
//
// Rules come before arithmetic, so that a low number cannot hide a bad fact.
// Neither the level nor the score lowers a legal duty, sets a recall class or
// decides what must be reported: people do.
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

// Facts are what is known of one lot under one limit. What is not known counts
// as the worse.
type Facts struct {
	Verdict          string // met, indeterminate, missed or unknown
	MissedAsRecorded bool   // the readings missed the limit before any correction
	NoLastGood       bool   // the instrument never passed a check before it failed
	KillStep         bool   // all of it went through a later step, proven by a good instrument, that controls the hazard

	ShippedAny   bool     // some of the lot, or of what was made of it, has left
	InControlAny bool     // some of it is still where the plant can stop it
	ShippedShare *float64 // of the quantity in doubt, 0 to 1; nil: unknown
	Consignees   int      // how many received it; 0 with ShippedAny: unknown

	Severity          Severity
	ReadyToEat        *bool
	Vulnerable        *bool    // consumers are vulnerable: infants, the old, the sick
	ProbabilityMissed *float64 // nil: nothing can be said
}

// Factor is one number in a score and why it has that value.
type Factor struct {
	Name   string
	Value  float64
	Reason string
}

// Assessment is how bad it is, with every reason.
type Assessment struct {
	Level       int    // 1 (record it) to 5 (critical)
	LevelRule   string // the rule that matched first
	LevelReason string
	Score       int      // 0 to 100, orders work inside the level
	Factors     []Factor // Score is 100 times their product, rounded
	Method      string
}

// Method names this way of assessing; another formula or table is another name.
const Method = "impact/default@2"

// Assess returns the level and the score of f.
func Assess(f Facts) Assessment {
	f = f.settled()
	level, rule, reason := level(f)
	factors := []Factor{severity(f), likelihood(f), reach(f)}
	return Assessment{
		Level: level, LevelRule: rule, LevelReason: reason,
		Score: score(factors), Factors: factors, Method: Method,
	}
}

// settled returns f with contradictions resolved towards the worse: a lot that
// missed as recorded is never met by correcting the failed instrument, a
// verdict nobody knows is unknown, and a number that is no share is unknown.
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
