//go:build linux

package scenarios

import "fmt"

// corrections are what is done about the instrument, the line and the plan, and the
// review of the records.
var corrections = []sentence{
	{`{who} writes the {part}[, to be looked at on {day}]: {text...}`, func(s *story, w words) {
		p := map[string]any{"part": w["part"], "text": w["text"]}
		if w["day"] != "" {
			p["effective_by"] = s.rfc(s.moment(w["day"], "12:00"))
		}
		s.acts(w["who"], "POST", s.about("correction"), p, nil)
	}},
	{`{who} stops the line because {note...}`, func(s *story, w words) {
		s.acts(w["who"], "POST", s.about("line"), map[string]any{"event": "stop", "at": s.rfc(s.clock()), "note": w["note"]}, nil)
	}},
	{`{who} restores the line with {instrument}, read at {time}, because {note...}`, func(s *story, w words) {
		s.acts(w["who"], "POST", s.about("line"), map[string]any{"event": "restore", "at": s.rfc(s.clock()), "instrument": w["instrument"],
			"reading_at": s.rfc(s.moment("", w["time"])), "note": w["note"]}, nil)
	}},
	{`{who} retires {instrument} because {reason...}`, func(s *story, w words) {
		s.acts(w["who"], "POST", fmt.Sprintf("/v1/instruments/%s/retirement", w["instrument"]), map[string]any{"reason": w["reason"]}, nil)
	}},
	{`{who} puts the records up for review[, late because {reason}]: {note...}`, func(s *story, w words) {
		r := map[string]any{"note": w["note"]}
		if w["reason"] != "" {
			r["late_because"] = w["reason"]
		}
		s.acts(w["who"], "POST", s.about("review"), r, &s.looked)
	}},
	{`everyone signs what was put up`, func(s *story, _ words) {
		s.allSign(func() (r record) {
			s.gets(fmt.Sprintf("/v1/records/%s/%d", s.looked.Kind, s.looked.ID), &r)
			return r
		})
	}},
}
