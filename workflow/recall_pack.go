package workflow

import (
	"slices"
	"strings"

	"lastgood/policy/limit"
	"lastgood/workflow/fault"
	"lastgood/workflow/recall"
)

// The words of a pack.
var (
	// RecallKinds are what it is called: by 21 CFR 7.3(g), (j) and (k), rows RC-01 to
	// RC-03. The agency says whether it agrees, and gives the class.
	RecallKinds = []string{"recall", "market_withdrawal", "stock_recovery"}
	// RecallDepths are how far it goes (21 CFR 7.42(b)(1), row RC-07).
	RecallDepths = []string{"consumer", "retail", "wholesale"}
	// RecallWarnings are how the public is warned (21 CFR 7.42(b)(2), row RC-08).
	RecallWarnings = []string{"none", "specialized", "general"}
)

// HazardEvaluation is the firm's own, under the heads that the agency weighs (21 CFR
// 7.41(a), row RC-05).
type HazardEvaluation struct {
	Illness      string `json:"illness"`      // already seen
	Conditions   string `json:"conditions"`   // that add exposure
	Groups       string `json:"groups"`       // at most risk
	Seriousness  string `json:"seriousness"`  // of the hazard
	Likelihood   string `json:"likelihood"`   // that it occurs
	Consequences string `json:"consequences"` // at once and later
}

// RecallPack is what people write of a recall: what is decided, and why. What has
// left, how much and to whom is filled in from the deviation.
type RecallPack struct {
	Retrieve  bool             `json:"retrieve"` // no: it is decided not to
	Reason    string           `json:"reason"`
	Kind      string           `json:"kind,omitzero"`
	Depth     string           `json:"depth,omitzero"`
	Warning   string           `json:"public_warning,omitzero"`
	Discovery string           `json:"discovery,omitzero"` // how it was found
	Hazard    HazardEvaluation `json:"hazard_evaluation,omitzero"`
	Level     recall.Level     `json:"effectiveness_level,omitzero"`
	Share     int              `json:"effectiveness_share,omitzero"` // [%] of level B
	// Own are consignees that are the firm itself: what is there is in its control.
	Own       []string `json:"own_consignees,omitempty"`
	Rationale string   `json:"rationale,omitzero"` // why it is a market withdrawal though a limit was missed
	Contact   string   `json:"contact,omitzero"`
	Text      string   `json:"text,omitzero"` // what consignees are told
}

// check refuses a pack that says too little. Of a decision not to retrieve only the
// reason is asked.
func (p RecallPack) check(left []Left) error {
	if strings.TrimSpace(p.Reason) == "" {
		return fault.New(fault.Invalid, "reason-missing", "say why").In("reason")
	}
	if !p.Retrieve {
		return nil
	}
	for _, w := range []struct {
		field, value string
		of           []string
	}{{"kind", p.Kind, RecallKinds}, {"depth", p.Depth, RecallDepths}, {"public_warning", p.Warning, RecallWarnings}} {
		if !slices.Contains(w.of, w.value) {
			return fault.New(fault.Invalid, "unknown-word", "%s is one of %s", w.field, fault.Words(w.of)).In(w.field)
		}
	}
	h := p.Hazard
	for _, t := range [][2]string{{"discovery", p.Discovery}, {"contact", p.Contact}, {"text", p.Text},
		{"hazard_evaluation.illness", h.Illness}, {"hazard_evaluation.conditions", h.Conditions}, {"hazard_evaluation.groups", h.Groups},
		{"hazard_evaluation.seriousness", h.Seriousness}, {"hazard_evaluation.likelihood", h.Likelihood}, {"hazard_evaluation.consequences", h.Consequences}} {
		if strings.TrimSpace(t[1]) == "" {
			return fault.New(fault.Invalid, "pack-incomplete", "a pack says that too (21 CFR 7.46(a), 7.41(a)); write none known where nothing is known").In(t[0])
		}
	}
	if _, ok := recall.PerMille(p.Level, p.Share); !ok {
		return fault.New(fault.Invalid, "unknown-word",
			"effectiveness is checked at level A, B, C, D or E (21 CFR 7.42(b)(3)); B, and no other, needs effectiveness_share, above 10 and below 100").In("effectiveness_level")
	}
	return p.checkKind(left)
}

// checkKind refuses a word that what has left contradicts.
func (p RecallPack) checkKind(left []Left) error {
	for _, l := range left {
		switch {
		case p.Kind == "stock_recovery" && !slices.Contains(p.Own, l.Consignee):
			return fault.New(fault.Refused, "not-stock-recovery", "%s went to %s, who is not named among own_consignees: a stock recovery is of product that has not left the firm's control (21 CFR 7.3(k))",
				l.named(), cmpOr(l.Consignee, "somebody who is not named")).In("kind")
		case p.Kind == "market_withdrawal" && (l.Verdict == limit.Missed || l.Verdict == limit.Unknown) && strings.TrimSpace(p.Rationale) == "":
			return fault.New(fault.Refused, "rationale-missing", "the limit of lot %s is %s: a market withdrawal is for a minor violation or none (21 CFR 7.3(j)), so say in rationale why this is one",
				l.Lot, l.Verdict).In("rationale")
		}
	}
	return nil
}
