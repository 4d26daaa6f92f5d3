//go:build linux

package scenarios

import (
	"encoding/base64"
	"fmt"
	"strconv"
	"strings"
)

// decisions are what people decide, and what the floor makes of it.
var decisions = []sentence{
	{`{who} evaluates deviation {n}`, (*story).evaluates},
	{`{who} proposes {disposition} of {lot}[ portion {portion}][ to {receiver}][ into {into}] because {reason...}`, (*story).proposes},
	{`{who} withdraws the disposition of {lot}[ portion {portion}] because {reason...}`, (*story).withdraws},
	{`{who} names {amount} {unit} of {lot} portion {portion} on pallet {pallet}`, (*story).splits},
	{`{who} attaches {kind} {name} to {lot}[ portion {portion}] saying {note...}`, (*story).attaches},
	{`{who} attaches {kind} {name} to {lot}[ portion {portion}] with the paper {paper...}`, (*story).attaches},
	{`{who} reports {amount} {unit} of {lot}[ portion {portion}] {fate}[ at {place}][ because {reason}][, more to come]`, (*story).reports},
	{`{who} asks to lift the hold on {lot} because {reason...}`, (*story).asksToLift},
	{`{who} says the check of deviation {n} was none, by check {repeat}, because {reason...}`, (*story).cancels},
}

func (s *story) number(digits string) int64 {
	n, err := strconv.ParseInt(digits, 10, 64)
	s.must(err)
	return n
}

// about is the path of something of the deviation that is spoken of.
func (s *story) about(what string) string {
	return fmt.Sprintf("/v1/deviations/%d/%s", s.deviation, what)
}

func (s *story) evaluates(w words) {
	s.deviation = s.number(w["n"])
	s.gets("/v1/deviations/"+w["n"], nil)
	s.seen = s.tag
	s.acts(w["who"], "POST", s.about("evaluation"), nil, nil)
}

func (s *story) proposes(w words) {
	p := map[string]any{"lot": w["lot"], "disposition": w["disposition"], "reason": w["reason"]}
	for name, said := range map[string]string{"portion": "portion", "receiver": "receiver", "into_lot": "into"} {
		if w[said] != "" {
			p[name] = w[said]
		}
	}
	s.acts(w["who"], "POST", s.about("dispositions"), items(p), nil)
}

// portion is one of the portions of the deviation that is spoken of.
type portion struct {
	ID       int64
	Lot      string
	Portion  *string
	State    string
	Quantity *string
	Unit     *string `json:"quantity_unit"`
	Verdict  *string
	Options  []struct {
		Disposition string
		Allowed     bool
		Why         string
	}
	Disposition *struct {
		ID                 int64
		Disposition, State string
	}
}

func (s *story) portion(lot, label string) portion {
	s.t.Helper()
	for _, p := range all[portion](s, s.about("portions")) {
		if p.Lot == lot && text(p.Portion) == label {
			return p
		}
	}
	s.fail("deviation %d has no portion %s %s", s.deviation, lot, label)
	return portion{}
}

// decided is the number of the disposition that stands of a portion.
func (s *story) decided(w words) int64 {
	s.t.Helper()
	p := s.portion(w["lot"], w["portion"])
	if p.Disposition == nil {
		s.fail("nothing is decided of %s %s", w["lot"], w["portion"])
	}
	return p.Disposition.ID
}

func (s *story) withdraws(w words) {
	s.acts(w["who"], "POST", fmt.Sprintf("/v1/dispositions/%d/withdrawal", s.decided(w)), map[string]any{"reason": w["reason"]}, nil)
}

func (s *story) splits(w words) {
	s.acts(w["who"], "POST", s.about("portions"), map[string]any{"lot": w["lot"], "portion": w["portion"], "quantity": w["amount"], "quantity_unit": w["unit"],
		"pallet": w["pallet"]}, nil)
}

func (s *story) attaches(w words) {
	e := map[string]any{"lot": w["lot"], "kind": w["kind"], "name": w["name"]}
	if w["portion"] != "" {
		e["portion"] = w["portion"]
	}
	if w["note"] != "" {
		e["note"] = w["note"]
	}
	if w["paper"] != "" {
		e["media_type"], e["bytes"] = "text/plain", base64.StdEncoding.EncodeToString([]byte(w["paper"]))
	}
	var b struct{ SHA256 *string }
	if !s.acts(w["who"], "POST", s.about("evidence"), e, &b) || w["paper"] == "" {
		return
	}
	if status, back := s.call("key", "GET", "/v1/evidence/"+text(b.SHA256), "", nil); status != 200 || string(back) != w["paper"] {
		s.fail("%d: the paper came back as %q", status, back)
	}
}

func (s *story) reports(w words) {
	r := map[string]any{"fate": w["fate"], "quantity": w["amount"], "quantity_unit": w["unit"], "at": s.rfc(s.clock()),
		"last": !strings.HasSuffix(s.at.text, ", more to come")}
	for _, more := range []string{"place", "reason"} {
		if w[more] != "" {
			r[more] = w[more]
		}
	}
	s.acts(w["who"], "POST", fmt.Sprintf("/v1/dispositions/%d/executions", s.decided(w)), r, nil)
}

func (s *story) asksToLift(w words) {
	list := s.holds(w["lot"], "")
	if len(list) == 0 {
		s.fail("nothing holds %s", w["lot"])
	}
	s.acts(w["who"], "POST", fmt.Sprintf("/v1/holds/%d/lifting", list[0].ID), map[string]any{"reason": w["reason"]}, nil)
}

func (s *story) cancels(w words) {
	s.acts(w["who"], "POST", fmt.Sprintf("/v1/deviations/%s/cancellation", w["n"]), map[string]any{"repeat": s.number(w["repeat"]), "reason": w["reason"]}, &s.looked)
}

// traceWhatIsDue does what the worker of a real server does within seconds: it
// traces every deviation of which something new is known.
func (s *story) traceWhatIsDue() {
	if s.key == "" {
		return
	}
	refused := s.refused
	s.refused = nil
	type head struct {
		ID  int64
		Due *string `json:"retrace_due"`
	}
	for _, d := range all[head](s, "/v1/deviations") {
		if d.Due != nil {
			s.sends("key", "POST", fmt.Sprintf("/v1/deviations/%d/trace", d.ID), nil, nil)
		}
	}
	s.refused = refused
}
