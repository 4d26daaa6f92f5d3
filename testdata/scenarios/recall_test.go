//go:build linux

package scenarios

import (
	"fmt"
	"slices"
	"strings"
)

// recallings are who is told of product that has left, and how it comes back.
var recallings = []sentence{
	{`{who} determines that {authority} must be told because {reason...}`, func(s *story, w words) { s.determines(w, "") }},
	{`{who} determines that {authority} need not be told, on the ground {ground}, because {reason...}`, func(s *story, w words) { s.determines(w, w["ground"]) }},
	{`{who} tells {authority} by {method}: {text...}`, (*story).tellsAuthority},
	{`{authority} confirms under {reference} and asks for nothing more`, (*story).confirmedBy},
	{`expect {authority} is {state} as to being told`, (*story).expectToldState},
	{`expect the clock of {authority} is {state}`, (*story).expectClock},
	{`{who} draws up a {kind} to the {depth}, checked at level {level}[, of stock that is with {own}], because {reason...}`, (*story).drawsUp},
	{`{who} draws up that nothing is retrieved because {reason...}`, func(s *story, w words) {
		s.acts(w["who"], "POST", s.about("recall"), map[string]any{"retrieve": false, "reason": w["reason"]}, &s.looked)
	}},
	{`{who} tells the consignee {consignee} by {method}`, (*story).tellsConsignee},
	{`{consignee} says of {lot} with {shipment}: {amount} {unit} here, {returned} returned, {destroyed} destroyed, {sold} sold on`, (*story).hears},
	{`{who} draws whom to check, with seed {seed}`, func(s *story, w words) {
		s.acts(w["who"], "POST", s.about("recall/sample"), map[string]any{"seed": s.number(w["seed"])}, nil)
	}},
	{`{who} finds that {consignee} acted on the notice`, func(s *story, w words) { s.checksConsignee(w, true, "") }},
	{`{who} finds that {consignee} did not act on the notice: {note...}`, func(s *story, w words) { s.checksConsignee(w, false, w["note"]) }},
	{`{who} reports to {office} how the recall stands`, func(s *story, w words) {
		s.acts(w["who"], "POST", s.about("recall/status-reports"), map[string]any{"sent_to": w["office"], "estimated_completion": "two weeks", "at": s.rfc(s.clock())}, nil)
	}},
	{`the agency gives class {class} under {reference}`, func(s *story, w words) {
		s.letter("class", map[string]any{"class": w["class"], "reference": w["reference"]})
	}},
	{`the agency is asked under {reference} to end the recall`, func(s *story, w words) {
		s.letter("termination-request", map[string]any{"reference": w["reference"]})
	}},
	{`the agency ends the recall under {reference}`, func(s *story, w words) { s.letter("termination", map[string]any{"reference": w["reference"]}) }},
	{`expect the recall is {state}`, func(s *story, w words) {
		if r := s.recall(); r.State != w["state"] {
			s.fail("it is %s, and lacks %s for its end", r.State, strings.Join(r.Lacks, "; "))
		}
	}},
	{`expect {consignee} is still to be told`, func(s *story, w words) { s.among(w["consignee"], s.recall().ToNotify) }},
	{`expect the ledger says of {lot} with {shipment}: {says...}`, (*story).expectLedger},
}

func (s *story) determines(w words, ground string) {
	b := map[string]any{"required": ground == "", "reason": w["reason"]}
	if ground != "" {
		b["grounds"] = ground
	}
	s.acts(w["who"], "POST", s.about("notifications/"+w["authority"]+"/determination"), b, &s.looked)
}

// notified is how an authority stands.
type notified struct {
	ID        *int64
	Authority string
	Name      string
	State     string
}

func (s *story) notified(authority string) notified {
	s.t.Helper()
	list := all[notified](s, s.about("notifications"))
	i := slices.IndexFunc(list, func(n notified) bool { return n.Authority == authority })
	if i < 0 || list[i].ID == nil {
		s.fail("nobody has assessed %s: %v", authority, list)
	}
	return list[i]
}

func (s *story) tellsAuthority(w words) {
	s.acts(w["who"], "POST", fmt.Sprintf("/v1/notifications/%d/notices", *s.notified(w["authority"]).ID), map[string]any{"at": s.rfc(s.clock()),
		"whom": "the office", "method": w["method"], "person": w["who"], "text": w["text"]}, nil)
}

func (s *story) confirmedBy(w words) {
	id := *s.notified(w["authority"]).ID
	said := map[string]any{"at": s.rfc(s.clock()), "whom": "the office", "method": "letter", "person": s.holder("regulatory_liaison"), "reference": w["reference"]}
	if s.acts("key", "POST", fmt.Sprintf("/v1/notifications/%d/receipts", id), said, nil) {
		s.acts(s.holder("regulatory_liaison"), "POST", fmt.Sprintf("/v1/notifications/%d/completion", id), said, nil)
	}
}

func (s *story) expectToldState(w words) {
	var said []string
	for _, n := range all[notified](s, s.about("notifications")) {
		if n.Authority == w["authority"] {
			said = append(said, n.State)
		}
	}
	s.among(w["state"], said)
}

func (s *story) expectClock(w words) {
	name := s.notified(w["authority"]).Name
	var said []string
	for _, k := range all[struct{ Kind, What, State string }](s, s.about("clocks")) {
		if k.Kind == "notice" && strings.Contains(k.What, name) {
			said = append(said, k.State)
		}
	}
	s.among(w["state"], said)
}

func (s *story) drawsUp(w words) {
	none := "none known"
	p := map[string]any{"retrieve": true, "reason": w["reason"], "kind": w["kind"], "depth": w["depth"], "public_warning": "none", "discovery": "a check",
		"contact": "the liaison", "text": "Do not sell what the enclosed list names; call us.", "effectiveness_level": w["level"],
		"hazard_evaluation": map[string]any{"illness": none, "conditions": none, "groups": "the elderly", "seriousness": "serious", "likelihood": "possible", "consequences": "illness"}}
	if w["own"] != "" {
		p["own_consignees"] = []string{w["own"]}
	}
	s.acts(w["who"], "POST", s.about("recall"), p, &s.looked)
}

func (s *story) tellsConsignee(w words) {
	s.acts(w["who"], "POST", s.about("recall/notices"), items(map[string]any{"consignee": w["consignee"], "text_version": 1, "method": w["method"],
		"whom": "the manager", "person": w["who"], "at": s.rfc(s.clock())}), nil)
}

func (s *story) hears(w words) {
	s.acts("key", "POST", s.about("recall/responses"), items(map[string]any{"lot": w["lot"], "shipment": w["shipment"], "on_hand": w["amount"],
		"returned": w["returned"], "destroyed": w["destroyed"], "sold_on": w["sold"], "quantity_unit": w["unit"], "person": "the manager", "at": s.rfc(s.clock())}), nil)
}

func (s *story) checksConsignee(w words, passed bool, note string) {
	s.acts(w["who"], "POST", s.about("recall/checks"), items(map[string]any{"consignee": w["consignee"], "passed": passed, "method": "visit",
		"person": w["who"], "note": note, "at": s.rfc(s.clock())}), nil)
}

// letter is one of the agency or to it, which the liaison records.
func (s *story) letter(kind string, says map[string]any) {
	says["at"] = s.rfc(s.clock())
	s.acts(s.holder("regulatory_liaison"), "POST", s.about("recall/"+kind), says, nil)
}

// holder is the first of the people with a role.
func (s *story) holder(role string) string {
	s.t.Helper()
	i := slices.IndexFunc(s.staff, func(c *colleague) bool { return slices.Contains(c.roles, role) })
	if i < 0 {
		s.fail("nobody is a %s", role)
	}
	return s.staff[i].code
}

// recalled is a recall as it stands.
type recalled struct {
	State    string
	ToNotify []string `json:"to_notify"`
	Lacks    []string `json:"missing_for_termination"`
	Ledger   []struct {
		Lot, Shipment, Retrieved string
		Gone                     string  `json:"accounted_unrecoverable"`
		Told                     *string `json:"told_at"`
		Said                     *struct {
			OnHand              string `json:"on_hand"`
			SoldOn              string `json:"sold_on"`
			Returned, Destroyed string
		}
	}
}

func (s *story) recall() (r recalled) {
	s.gets(s.about("recall"), &r)
	return r
}

// expectLedger compares a line of the ledger: what the consignee says, and what was
// carried out.
func (s *story) expectLedger(w words) {
	var said []string
	for _, l := range s.recall().Ledger {
		if l.Lot != w["lot"] || l.Shipment != w["shipment"] {
			continue
		}
		words := "not told"
		switch {
		case l.Said != nil:
			words = fmt.Sprintf("%s here, %s returned, %s destroyed, %s sold on; %s retrieved, %s unrecoverable",
				l.Said.OnHand, l.Said.Returned, l.Said.Destroyed, l.Said.SoldOn, l.Retrieved, l.Gone)
		case l.Told != nil:
			words = "told, no answer"
		}
		said = append(said, words)
	}
	s.among(w["says"], said)
}
