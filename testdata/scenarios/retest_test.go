//go:build linux

package scenarios

import (
	"fmt"
	"strings"
	"time"
)

// testings are tests of product on hold.
var testings = []sentence{
	{`{who} orders test of {lot}[ portion {portion}] for {analyte}, {n} samples, none positive[, for {tagged} only], because {reason...}`, (*story).ordersTest},
	{`the samples of test {n} are drawn and received by the laboratory`, (*story).drawsSamples},
	{`the laboratory reports of test {n}: {list...}`, func(s *story, w words) { s.reportsResults(w, "", "") }},
	{`the laboratory corrects result {old} of test {n} because {reason}: {list...}`, func(s *story, w words) { s.reportsResults(w, w["old"], w["reason"]) }},
	{`{who} says that result {n} does not count because {reason...}`, func(s *story, w words) {
		s.acts(w["who"], "POST", fmt.Sprintf("/v1/results/%s/void", w["n"]), map[string]any{"reason": w["reason"]}, &s.looked)
	}},
	{`expect test {n} is {state} and says {decision}[ for {tagged}]`, (*story).expectTest},
}

func (s *story) ordersTest(w words) {
	t := map[string]any{"lot": w["lot"], "analyte": w["analyte"], "n": s.number(w["n"]), "m": 0, "unit": "detected in 25 g", "reach": "whole_lot",
		"laboratory": laboratory, "custody_plan": "cooled, by the plant's driver", "reason": w["reason"]}
	if w["portion"] != "" {
		t["portion"] = w["portion"]
	}
	if w["tagged"] != "" {
		t["reach"], t["tagged"] = "tagged_only", w["tagged"]
	}
	s.acts(w["who"], "POST", s.about("retests"), t, nil)
}

const laboratory = "an invented laboratory"

// tested is a re-test as it stands.
type tested struct {
	Lot, State string
	Plan       struct{ N int }
	Outcome    struct {
		Decision string
		Limited  *string `json:"limited_to"`
	}
}

func (s *story) test(n string) (t tested) {
	s.gets("/v1/retests/"+n, &t)
	return t
}

func (s *story) drawsSamples(w words) {
	at := s.rfc(s.clock().Add(-time.Minute))
	var drawn []map[string]any
	for i := range s.test(w["n"]).Plan.N {
		drawn = append(drawn, map[string]any{"sample": fmt.Sprintf("P-%d", i+1), "drawn_at": at, "drawn_by": "floor", "drawn_from": "the pallets"})
	}
	path := "/v1/retests/" + w["n"]
	s.sends("floor", "POST", path+"/samples", items(drawn...), nil)
	s.sends("floor", "POST", path+"/custody", map[string]any{"at": at, "who": "the driver", "condition": "2 C, sealed"}, nil)
	s.sends("floor", "POST", path+"/receipt", map[string]any{"at": at, "who": laboratory, "condition": "3 C, sealed", "reference": "7"}, nil)
}

// reportsResults reports "P-1 0, P-2 1", as the laboratory's system does.
func (s *story) reportsResults(w words, old, reason string) {
	var list []map[string]any
	for one := range strings.SplitSeq(w["list"], ", ") {
		sample, value, ok := strings.Cut(one, " ")
		if !ok {
			s.fail("a result is a sample and how often it was positive: %q", one)
		}
		r := map[string]any{"lot": s.test(w["n"]).Lot, "sample": sample, "value": s.number(value), "unit": "detected in 25 g", "method": "a culture method",
			"laboratory": laboratory, "report": "7", "tested_at": s.rfc(s.clock())}
		if old != "" {
			r["replaces"], r["reason"] = s.number(old), reason
		}
		list = append(list, r)
	}
	s.acts("key", "POST", "/v1/retests/"+w["n"]+"/results", items(list...), nil)
}

func (s *story) expectTest(w words) {
	if t := s.test(w["n"]); t.State != w["state"] || t.Outcome.Decision != w["decision"] || w["tagged"] != "" && w["tagged"] != text(t.Outcome.Limited) {
		s.fail("it is %s and says %s for %q", t.State, t.Outcome.Decision, text(t.Outcome.Limited))
	}
}
