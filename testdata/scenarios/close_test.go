//go:build linux

package scenarios

import (
	"fmt"
	"strings"
)

// closings are how a deviation ends, and begins again.
var closings = []sentence{
	{`expect closing refused with {codes...}`, (*story).expectInTheWay},
	{`expect nothing in the way of closing`, (*story).expectClear},
	{`everyone signs whatever else closing asks for`, (*story).clearTheWay},
	{`{who} asks to close deviation {n}`, (*story).asksToClose},
	{`{who} reopens deviation {n} for {trigger} because {reason...}`, (*story).reopens},
}

// reason is something that stands in the way of closing.
type reason struct{ Code, Detail, Link string }

func (s *story) inTheWay() []reason {
	var b struct{ Reasons []reason }
	s.gets(s.about("closing"), &b)
	return b.Reasons
}

func (s *story) expectInTheWay(w words) {
	var codes []string
	for _, r := range s.inTheWay() {
		codes = append(codes, r.Code)
	}
	for c := range strings.SplitSeq(w["codes"], ", ") {
		s.among(c, codes)
	}
}

func (s *story) expectClear(words) {
	if list := s.inTheWay(); len(list) > 0 {
		s.fail("%d reasons: %v", len(list), list)
	}
}

// clearTheWay signs every record that closing waits for, whichever there are.
func (s *story) clearTheWay(words) {
	for _, r := range s.inTheWay() {
		if !strings.HasPrefix(r.Link, "/v1/records/") {
			continue
		}
		s.allSign(func() (one record) {
			s.gets(r.Link, &one)
			return one
		})
	}
}

func (s *story) asksToClose(w words) {
	s.acts(w["who"], "POST", fmt.Sprintf("/v1/deviations/%s/closing", w["n"]), nil, nil)
}

func (s *story) reopens(w words) {
	s.acts(w["who"], "POST", fmt.Sprintf("/v1/deviations/%s/reopening", w["n"]), map[string]any{"trigger": w["trigger"], "reason": w["reason"]}, nil)
}
