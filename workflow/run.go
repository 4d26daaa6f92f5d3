package workflow

import (
	"math"
	"time"

	"lastgood/policy/impact"
	"lastgood/policy/limit"
	"lastgood/policy/rules"
)

// TraceMethod names this way of tracing; another way is another name.
const TraceMethod = "trace/named-placed-between@2"

// Run is one trace of a deviation: what the instrument's error was, what it
// touched, and what that means for every lot. A run is stored and never
// changed; the same evidence gives the same run.
type Run struct {
	Number        int          `json:"run"`
	MadeAt        time.Time    `json:"made_at"`
	Instrument    string       `json:"instrument"`
	OpenedBy      string       `json:"opened_by"` // what happened then, in words
	FailedAt      time.Time    `json:"failed_at"`
	LastGoodAt    *time.Time   `json:"last_good_at"`
	After         *time.Time   `json:"after"` // the window; nil: nothing bounds it
	Until         *time.Time   `json:"until"` // nil: still in use
	PolicyVersion int          `json:"policy_version"`
	Method        string       `json:"method"`
	InputDigest   []byte       `json:"input_digest"`
	Model         string       `json:"model"`
	Points        []ErrorPoint `json:"points"`
	Notes         []string     `json:"notes"`
	Readings      int64        `json:"readings"`  // looked at
	Unmatched     int64        `json:"unmatched"` // in the window, but named no lot and lay in no stay
	Assessments   []Assessment `json:"assessments"`
}

// ErrorPoint is the error that the failed check found at one point [°C, K].
type ErrorPoint struct {
	At                  float64  `json:"at"` // indicated
	Reference           float64  `json:"reference"`
	Found               float64  `json:"found"`
	Left                *float64 `json:"left"`
	ExpandedUncertainty float64  `json:"expanded_uncertainty"`
	Basis               string   `json:"basis"`
}

// Assessment is one lot under one limit, with the instrument's error taken out.
type Assessment struct {
	LotID      int64        `json:"lot_id"`
	Lot        string       `json:"lot"`
	Limit      string       `json:"limit"` // empty: no limit applies to what was read
	Text       string       `json:"limit_text"`
	Unit       string       `json:"limit_unit"` // the scale that the limit is written in
	Kind       string       `json:"kind"`
	Monitoring string       `json:"monitoring"`
	Hazard     string       `json:"hazard"`
	OverAt     int64        `json:"over_at"`      // when the step was over, by all that is known of it here [µs]
	NoLastGood bool         `json:"no_last_good"` // the instrument never passed a check at this limit's temperatures before it failed
	Via        string       `json:"via"`          // how the readings reached the lot: reading, stay, mounting or between
	Result     limit.Result `json:"result"`
	// OwnVerdict is what the instrument in doubt shows by itself; Result.Verdict
	// is what it shows together with the second instruments.
	OwnVerdict limit.Verdict `json:"own_verdict"`
	Seconds    []Second      `json:"second_instruments,omitempty"`
	ClearedBy  []string      `json:"cleared_by,omitempty"` // second instruments
	KillStep   *KillStep     `json:"kill_step,omitempty"`  // the later step that cleared the hazard

	Facts       *rules.Facts   `json:"facts,omitempty"` // what the rules were asked; nil: a run from before they were kept
	RulesMethod string         `json:"rules_method,omitempty"`
	Impact      Impact         `json:"impact"`
	Route       string         `json:"route"`
	RouteRule   string         `json:"route_rule"`
	Reason      string         `json:"route_reason"`
	Means       string         `json:"route_means,omitempty"` // what the route means at this plant
	Signers     []string       `json:"signers"`               // roles, in the order of signing
	Signatures  []rules.Signer `json:"signatures,omitempty"`  // the same, with what each signature means
	Deadlines   []Deadline     `json:"deadlines,omitempty"`
}

// Impact is how bad it is: the level by the rules of the policy, and the score
// that orders the work inside the level.
type Impact struct {
	Level       int
	LevelRule   string
	LevelReason string
	impact.Scored
}

// Deadline is a time within which people do something about the lot, from when
// the rules first asked for it.
type Deadline struct {
	What        string  `json:"what"`
	WithinHours float64 `json:"within_hours"`
	Rule        string  `json:"rule"`
}

// decide lets the rules decide on the assessment's facts.
func (a *Assessment) decide(r *rules.Rules) {
	o := r.Evaluate(*a.Facts)
	a.RulesMethod = rules.Method
	a.Impact.Level, a.Impact.LevelRule, a.Impact.LevelReason = o.Level, o.LevelRule, o.LevelReason
	a.Route, a.RouteRule, a.Reason, a.Means = string(o.Route), o.RouteRule, o.RouteReason, o.Means
	a.Signatures, a.Signers, a.Deadlines = o.Signers, nil, nil
	for _, s := range o.Signers {
		a.Signers = append(a.Signers, s.Role)
	}
	for _, d := range o.Deadlines {
		a.Deadlines = append(a.Deadlines, Deadline{d.What, d.Within.Hours(), d.Rule})
	}
}

// Outcome returns what the rules proposed, as it was recorded.
func (a *Assessment) Outcome() rules.Outcome {
	o := rules.Outcome{Level: a.Impact.Level, LevelRule: a.Impact.LevelRule, LevelReason: a.Impact.LevelReason,
		Route: rules.Route(a.Route), RouteRule: a.RouteRule, RouteReason: a.Reason, Means: a.Means, Signers: a.Signatures}
	for _, d := range a.Deadlines {
		within := time.Duration(math.Round(d.WithinHours * float64(time.Hour)))
		o.Deadlines = append(o.Deadlines, rules.Deadline{Within: within, What: d.What, Rule: d.Rule})
	}
	return o
}
