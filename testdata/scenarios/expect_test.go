//go:build linux

package scenarios

import (
	"encoding/json"
	"slices"
	"strings"
)

// expectations compare with what the interface says.
var expectations = []sentence{
	{`expect refused {rule}`, (*story).expectRefused},
	{`expect refused {rule} with {codes...}`, (*story).expectRefused},
	{`expect deviation {n} is {state}`, (*story).expectState},
	{`expect no deviation`, (*story).expectNone},
	{`expect hold on {lot}[ portion {portion}]`, func(s *story, w words) { s.expectHold(w, true) }},
	{`expect no hold on {lot}[ portion {portion}]`, func(s *story, w words) { s.expectHold(w, false) }},
	{`expect {lot}[ portion {portion}] is {verdict}`, (*story).expectVerdict},
	{`expect {amount} {unit} of {lot}[ portion {portion}]`, (*story).expectAmount},
	{`expect {lot}[ portion {portion}] may get {list...}`, (*story).expectOptions},
	{`expect nothing decided of {lot}[ portion {portion}]`, (*story).expectUndecided},
	{`expect {kind} of {lot}[ portion {portion}] waits for {role}`, (*story).expectWaits},
	{`expect {kind} of {lot}[ portion {portion}] signed by everyone`, (*story).expectSigned},
	{`expect {kind} of {lot}[ portion {portion}] says {says...}`, (*story).expectSays},
	{`expect {who} has {kind} of {lot}[ portion {portion}] to sign`, func(s *story, w words) { s.expectToSign(w, true) }},
	{`expect {who} has not {kind} of {lot}[ portion {portion}] to sign`, func(s *story, w words) { s.expectToSign(w, false) }},
	{`expect trail says {action} of deviation {n}`, (*story).expectTrail},
}

// among fails unless a word is among those that were said.
func (s *story) among(word string, said []string) {
	s.t.Helper()
	if !slices.Contains(said, word) {
		s.fail("said %s, not %s", strings.Join(said, ", "), word)
	}
}

func (s *story) expectRefused(w words) {
	p := s.refused
	if p == nil {
		s.fail("it was not refused")
	}
	s.refused = nil
	if !slices.Contains(p.rules(), w["rule"]) {
		s.fail("refused for %s\n%s", strings.Join(p.rules(), ", "), p.text)
	}
	var codes []string
	for _, r := range p.Reasons {
		codes = append(codes, r.Code)
	}
	for _, c := range strings.Split(w["codes"], ", ") {
		if c != "" {
			s.among(c, codes)
		}
	}
}

func (s *story) expectState(w words) {
	var d struct{ State string }
	s.gets("/v1/deviations/"+w["n"], &d)
	if d.State != w["state"] {
		s.fail("it is %s", d.State)
	}
}

func (s *story) expectNone(words) {
	if list := all[struct{ ID int64 }](s, "/v1/deviations"); len(list) > 0 {
		s.fail("there are %d", len(list))
	}
}

func (s *story) expectHold(w words, want bool) {
	if got := len(s.holds(w["lot"], w["portion"])) > 0; got != want {
		s.fail("held: %v; of the lot is held: %q", got, s.heldOf(w["lot"]))
	}
}

func (s *story) expectVerdict(w words) {
	if v := text(s.portion(w["lot"], w["portion"]).Verdict); v != w["verdict"] {
		s.fail("it is %s", v)
	}
}

func (s *story) expectAmount(w words) {
	if p := s.portion(w["lot"], w["portion"]); text(p.Quantity) != w["amount"] || text(p.Unit) != w["unit"] {
		s.fail("it is %s %s", text(p.Quantity), text(p.Unit))
	}
}

// expectOptions wants exactly these dispositions to be allowed.
func (s *story) expectOptions(w words) {
	var allowed, why []string
	for _, o := range s.portion(w["lot"], w["portion"]).Options {
		if o.Allowed {
			allowed = append(allowed, o.Disposition)
		}
		why = append(why, o.Disposition+": "+o.Why)
	}
	if got := strings.Join(allowed, ", "); got != w["list"] {
		s.fail("it may get %s\n%s", got, strings.Join(why, "\n"))
	}
}

func (s *story) expectUndecided(w words) {
	if d := s.portion(w["lot"], w["portion"]).Disposition; d != nil {
		s.fail("%s is decided", d.Disposition)
	}
}

func (s *story) expectWaits(w words) {
	if r := s.record(w); text(r.WaitsFor) != w["role"] {
		s.fail("it waits for %q", text(r.WaitsFor))
	}
}

func (s *story) expectSigned(w words) {
	if r := s.record(w); !r.Complete {
		s.fail("version %d waits for %s", r.Version, text(r.WaitsFor))
	}
}

func (s *story) expectSays(w words) {
	var said []string
	for _, e := range s.record(w).Earlier {
		said = append(said, e.Says)
	}
	s.among(w["says"], said)
}

func (s *story) expectToSign(w words, want bool) {
	r := s.record(w)
	var l listing[record]
	s.sends(w["who"], "GET", "/v1/signatures/waiting?limit=1000", nil, &l)
	got := slices.ContainsFunc(l.Items, func(o record) bool { return o.Kind == r.Kind && o.ID == r.ID })
	if got != want {
		s.fail("%s has it to sign: %v", w["who"], got)
	}
}

func (s *story) expectTrail(w words) {
	var actions []string
	for _, e := range all[struct{ Bytes []byte }](s, "/v1/trail?stream=deviation/"+w["n"]) {
		var said struct{ Action string }
		s.must(json.Unmarshal(e.Bytes, &said))
		actions = append(actions, said.Action)
	}
	s.among(w["action"], actions)
}
