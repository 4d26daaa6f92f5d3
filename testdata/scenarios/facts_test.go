//go:build linux

package scenarios

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// facts are what the plant records: its instruments and lots, what was read and
// checked, what left.
var facts = []sentence{
	{`instrument {instrument} tolerance {tolerance} {unit}[, checked every {days} days]`, (*story).buys},
	{`lot {lot} {product} {amount} {unit} made {day} {time}`, (*story).makes},
	{`reading {instrument} at [{day} ]{time} {value} {unit} lot {lot} limit {limit}`, (*story).reads},
	{`check {instrument}[ against {reference}][ at {time}] by {who} verified {second}: found {list...}`, (*story).checks},
	{`{amount} {unit} of {lot} leave[ at {day} {time}] as {shipment} to {consignee}`, (*story).ships},
	{`warehouse acknowledges {lot}[ portion {portion}] with {amount} {unit}`, (*story).counts},
	{`{who} holds {lot} because {reason...}`, func(s *story, w words) {
		s.acts(w["who"], "POST", "/v1/holds", map[string]any{"lot": w["lot"], "reason": w["reason"]}, nil)
	}},
	{`gate allows {lot}[ portion {portion}]`, func(s *story, w words) { s.gate(w, "") }},
	{`gate refuses {lot}[ portion {portion}] with {rule}`, func(s *story, w words) { s.gate(w, w["rule"]) }},
}

func items(list ...map[string]any) map[string]any { return map[string]any{"items": list} }

func (s *story) rfc(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }

func (s *story) buys(w words) {
	i := map[string]any{"instrument": w["instrument"], "unit": w["unit"], "tolerance": w["tolerance"], "in_service_from": s.rfc(s.clock().AddDate(-1, 0, 0))}
	if w["days"] != "" {
		i["check_every_days"] = s.number(w["days"])
	}
	s.acts("key", "POST", "/v1/instruments", items(i), nil)
}

func (s *story) makes(w words) {
	s.sends("key", "POST", "/v1/products", items(map[string]any{"product": w["product"], "name": w["product"], "ready_to_eat": true, "supports_growth": true,
		"consumers": "general", "shelf_life_days": 21}), nil)
	s.acts("key", "POST", "/v1/lots", items(map[string]any{"lot": w["lot"], "product": w["product"], "quantity": w["amount"], "quantity_unit": w["unit"],
		"made_at": s.rfc(s.moment(w["day"], w["time"]))}), nil)
}

// reads uploads one reading, as a recorder does.
func (s *story) reads(w words) {
	s.batches++
	text := "instrument,taken_at,value,unit,lot,limit\n" + strings.Join([]string{w["instrument"], s.rfc(s.moment(w["day"], w["time"])), w["value"], w["unit"], w["lot"], w["limit"]}, ",") + "\n"
	status, said := s.call("recorder", "POST", fmt.Sprintf("/v1/readings?batch=b-%d", s.batches), "text/csv", []byte(text))
	var b struct {
		Accepted int `json:"accepted_rows"`
	}
	if s.understood(status, said, &b) && b.Accepted != 1 {
		s.fail("the reading was not taken in: %s", said)
	}
}

// checks records a comparison at some temperatures: "found 100.2 at 100.0,
// …", of one that was adjusted "found 102.1 left 100.1 at 100.0".
func (s *story) checks(w words) {
	var unit string
	for _, i := range all[struct{ Instrument, Unit string }](s, "/v1/instruments") {
		if i.Instrument == w["instrument"] {
			unit = i.Unit
		}
	}
	var points []map[string]any
	for one := range strings.SplitSeq(w["list"], ", ") {
		found, nominal, ok := strings.Cut(one, " at ")
		if !ok {
			s.fail("a check found something at something: %q", one)
		}
		p := map[string]any{"point": "comparison", "unit": unit, "nominal": nominal, "reference_reading": nominal, "reference_uncertainty": "0.2"}
		found, left, adjusted := strings.Cut(found, " left ")
		if p["found"] = found; adjusted {
			p["left"] = left
		}
		if w["reference"] != "" {
			p["reference"] = w["reference"]
		}
		points = append(points, p)
	}
	at := s.clock()
	if w["time"] != "" {
		at = s.moment("", w["time"])
	}
	s.acts(w["who"], "POST", "/v1/checks", map[string]any{"instrument": w["instrument"], "performed_at": s.rfc(at), "performed_by": w["who"],
		"verified_by": w["second"], "points": points}, nil)
}

func (s *story) ships(w words) {
	at := s.clock()
	if w["day"] != "" {
		at = s.moment(w["day"], w["time"])
	}
	s.acts("warehouse", "POST", "/v1/shipments", items(map[string]any{"shipment": w["shipment"], "lot": w["lot"], "quantity": w["amount"], "quantity_unit": w["unit"],
		"shipped_at": s.rfc(at), "consignee": w["consignee"]}), nil)
}

// held is a standing hold.
type held struct {
	ID           int64
	Version      int
	Lot          string
	Portion      *string
	Acknowledged *string `json:"acknowledged_at"`
}

func (h held) is(lot, portion string) bool { return h.Lot == lot && text(h.Portion) == portion }

func text(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func (s *story) holds(lot, portion string) (out []held) {
	for _, h := range all[held](s, "/v1/holds") {
		if h.is(lot, portion) {
			out = append(out, h)
		}
	}
	return out
}

// heldOf names the portions of a lot that are held; empty: what no other names.
func (s *story) heldOf(lot string) (out []string) {
	for _, h := range all[held](s, "/v1/holds") {
		if h.Lot == lot {
			out = append(out, text(h.Portion))
		}
	}
	return out
}

func (s *story) counts(w words) {
	list := s.holds(w["lot"], w["portion"])
	if len(list) == 0 {
		s.fail("nothing holds %s %s; of the lot is held: %q", w["lot"], w["portion"], s.heldOf(w["lot"]))
	}
	for _, h := range list {
		s.seen = `"v` + strconv.Itoa(h.Version) + `"`
		if !s.acts("warehouse", "POST", fmt.Sprintf("/v1/holds/%d/acknowledgement", h.ID), map[string]any{"counted_quantity": w["amount"], "quantity_unit": w["unit"]}, nil) {
			return
		}
	}
}

// gateSays is what the ship gate answers of one item.
type gateSays struct {
	Ship  bool `json:"may_ship"`
	Items []struct {
		Reasons []struct{ Rule, Detail string }
	}
}

func (s *story) asksGate(lot, portion string) (a gateSays, rules []string) {
	item := map[string]any{"lot": lot}
	if portion != "" {
		item["portion"] = portion
	}
	s.sends("key", "POST", "/v1/ship-gate", items(item), &a)
	for _, r := range a.Items[0].Reasons {
		rules = append(rules, r.Rule)
	}
	return a, rules
}

func (s *story) gate(w words, rule string) {
	a, rules := s.asksGate(w["lot"], w["portion"])
	switch {
	case a.Ship != (rule == ""):
		s.fail("may ship: %v, because of %v", a.Ship, a.Items[0].Reasons)
	case rule != "":
		s.among(rule, rules)
	}
}
