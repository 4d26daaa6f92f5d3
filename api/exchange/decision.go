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
