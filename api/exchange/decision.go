package exchange

import "lastgood/policy/rules"

// SignatureResult is one who signs and what that signature means.
type SignatureResult struct {
	Role    string `json:"role"`
	Meaning string `json:"meaning"`
}

// DeadlineResult is a time within which people do something about the lot, from
// when the rules first asked for it. The clocks of the law are not among them.
type DeadlineResult struct {
	What        string  `json:"what"`
	WithinHours float64 `json:"within_hours"`
	Rule        string  `json:"rule"`
}

// NewSignatures puts who signs into the exchange format, in the order of
// signing.
func NewSignatures(list []rules.Signer) []SignatureResult {
	out := []SignatureResult{}
	for _, s := range list {
		out = append(out, SignatureResult{s.Role, s.Meaning})
	}
	return out
}

// DecisionResult is what the rules propose for one lot under one limit.
type DecisionResult struct {
	Level       int               `json:"level"`
	LevelRule   string            `json:"level_rule"`
	LevelReason string            `json:"level_reason"`
	Route       string            `json:"route"`
	RouteRule   string            `json:"route_rule"`
	RouteReason string            `json:"route_reason"`
	Signatures  []SignatureResult `json:"signatures"`
	Deadlines   []DeadlineResult  `json:"deadlines"`
}

// NewDecision puts what the rules propose into the exchange format.
func NewDecision(o rules.Outcome) DecisionResult {
	out := DecisionResult{Level: o.Level, LevelRule: o.LevelRule, LevelReason: o.LevelReason,
		Route: string(o.Route), RouteRule: o.RouteRule, RouteReason: o.RouteReason,
		Signatures: NewSignatures(o.Signers), Deadlines: []DeadlineResult{}}
	for _, d := range o.Deadlines {
		out.Deadlines = append(out.Deadlines, DeadlineResult{What: d.What, WithinHours: d.Within.Hours(), Rule: d.Rule})
	}
	return out
}
