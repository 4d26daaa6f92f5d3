//go:build linux

package scenarios

import "fmt"

// always is what holds at the end of every story, whatever it told.
func (s *story) always() {
	s.at = line{text: "at the end"}
	var trail struct {
		Intact bool
		Wrong  string
	}
	s.gets("/v1/trail/verification", &trail)
	if !trail.Intact {
		s.fail("the trail: %s", trail.Wrong)
	}
	for _, h := range all[held](s, "/v1/holds") {
		if a, _ := s.asksGate(h.Lot, text(h.Portion)); a.Ship {
			s.fail("hold %d stands, and the gate lets %s %s through", h.ID, h.Lot, text(h.Portion))
		}
	}
	s.closedIsClosed()
}

// closedIsClosed: a closed deviation holds nothing, and everything of it that
// counts is signed by everyone.
func (s *story) closedIsClosed() {
	for _, d := range all[struct {
		ID    int64
		State string
	}](s, "/v1/deviations?state=closed") {
		if list := all[held](s, fmt.Sprintf("/v1/holds?deviation=%d", d.ID)); len(list) > 0 {
			s.fail("deviation %d is closed and holds %v", d.ID, list)
		}
		s.deviation = d.ID
		for _, p := range all[portion](s, s.about("portions")) {
			if p.Verdict == nil || p.Disposition == nil {
				continue
			}
			for _, kind := range []string{"disposition", "execution"} {
				var r record
				if s.gets(fmt.Sprintf("/v1/records/%s/%d", kind, p.Disposition.ID), &r); !r.Complete {
					s.fail("deviation %d is closed, and %s %d waits for %s", d.ID, kind, r.ID, text(r.WaitsFor))
				}
			}
		}
	}
}
