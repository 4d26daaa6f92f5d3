// Package routing says what the plant's procedure proposes for a lot in doubt,
// and who has to sign for it. It is the built-in policy: a proposal for people,
// never a disposition.
package routing

import "lastgood/policy/impact"

// Route is what is proposed for a lot.
type Route string

// The routes.
const (
	ReleaseWithRecord       Route = "release_with_record"
	HoldAndRetest           Route = "hold_and_retest"
	HoldForProcessAuthority Route = "hold_for_process_authority"
	Rework                  Route = "rework"
	Destroy                 Route = "destroy"
	RecallReview            Route = "recall_review"
)

// The roles that sign.
const (
	QALead            = "qa_lead"
	PlantManager      = "plant_manager"
	RegulatoryLiaison = "regulatory_liaison"
	ProcessAuthority  = "process_authority"
	Verifier          = "verifier" // a second person who checks the decision
	Reviewer          = "reviewer" // reads the record
)

// Facts are what a route hangs on, of one lot under one limit.
type Facts struct {
	Level            int    // by policy/impact, 1 to 5
	Verdict          string // met, indeterminate, missed or unknown
	MissedAsRecorded bool   // the readings missed the limit before any correction
	KillStep         bool   // all of it went through a later step, proven by a good instrument, that controls the hazard
	Shipped          bool   // some of it, or of what was made of it, has left
	InControl        bool   // some of it is still where the plant can stop it
	Kind             string // of the limit: at_least, hold, lethality …
	Severity         impact.Severity
}

// Decision is the route of a lot, why, and who signs, in the order of signing.
type Decision struct {
	Route   Route
	Rule    string
	Reason  string
	Signers []string
}

// Default returns the route of f by the built-in table: the first line that
// matches. Where no line matches, the lot is held.
func Default(f Facts) Decision {
	for _, r := range routes {
		if r.when(f) {
			return r.decide(f)
		}
	}
	return noRoute.decide(f)
}
