//go:build linux

package scenarios

import (
	"fmt"
	"os"
	"slices"
	"strconv"
	"time"

	"lastgood/workflow"
)

// furthers are what else happens in a plant: product that becomes other product,
// instruments that are touched, references that fall, deputies, other rules, and
// what the server finds by itself as time passes.
var furthers = []sentence{
	{`{amount} {unit} of {lot} go into {into}[ at {day} {time}]`, (*story).turns},
	{`{place} is a vessel`, func(s *story, w words) {
		s.acts("key", "POST", "/v1/locations", items(map[string]any{"location": w["place"], "vessel": true}), nil)
	}},
	{`{lot} stands in {place} from {from} until {until}`, func(s *story, w words) {
		s.acts("key", "POST", "/v1/stays", items(map[string]any{"lot": w["lot"], "location": w["place"], "from": s.rfc(s.moment("", w["from"])), "to": s.rfc(s.moment("", w["until"]))}), nil)
	}},
	{`{place} is cleaned out at {time}`, func(s *story, w words) {
		s.acts("key", "POST", "/v1/cleanouts", items(map[string]any{"location": w["place"], "at": s.rfc(s.moment("", w["time"]))}), nil)
	}},
	{`{instrument} is {event} at {time} because {note...}`, func(s *story, w words) {
		s.acts("key", "POST", "/v1/events", items(map[string]any{"instrument": w["instrument"], "at": s.rfc(s.moment("", w["time"])), "event": w["event"], "note": w["note"]}), nil)
	}},
	{`now of deviation {n}`, func(s *story, w words) { s.deviation = s.number(w["n"]) }},
	{`{who} confirms cascade {n}`, (*story).confirmsCascade},
	{`expect cascade {n} from {reference} is {state} and takes {checks} checks and {lots} lots`, (*story).expectCascade},
	{`{who} lets {deputy} stand in for {person} as {role} until {day} {time} because {reason...}`, (*story).deputes},
	{`{who} asks to put {instrument} back into use because {reason...}`, func(s *story, w words) {
		s.acts(w["who"], "POST", "/v1/instruments/"+w["instrument"]+"/return", map[string]any{"reason": w["reason"]}, &s.looked)
	}},
	{`{who} looks at the plan again: {text...}`, func(s *story, w words) {
		s.acts(w["who"], "POST", s.about("reanalysis"), map[string]any{"outcome": w["text"], "plan_changes": false}, &s.looked)
	}},
	{`{who} proposes the policy {file}`, (*story).proposesPolicy},
	{`expect version {n} of the policy is in force`, (*story).expectPolicy},
	{`{who} sees that the prevention works: {note...}`, func(s *story, w words) { s.seesEffect(w, true) }},
	{`{who} sees that the prevention does not work: {note...}`, func(s *story, w words) { s.seesEffect(w, false) }},
	{`the server escalates the hold on {lot} to {role}`, (*story).escalated},
	{`the server finds that a check is overdue`, (*story).foundOverdue},
	{`all else is put right with {instrument}, and deviation {n} is closed`, (*story).putsRight},
}

func (s *story) turns(w words) {
	at := s.clock()
	if w["day"] != "" {
		at = s.moment(w["day"], w["time"])
	}
	s.acts("key", "POST", "/v1/transformations", items(map[string]any{"event": w["lot"] + " into " + w["into"], "at": s.rfc(at), "input_lot": w["lot"],
		"input_quantity": w["amount"], "output_lot": w["into"], "quantity_unit": w["unit"]}), nil)
}

// confirmsCascade looks at a cascade, and confirms what it shows.
func (s *story) confirmsCascade(w words) {
	s.gets("/v1/cascades/"+w["n"], nil)
	s.seen = s.tag
	s.acts(w["who"], "POST", "/v1/cascades/"+w["n"]+"/confirmation", nil, nil)
}

func (s *story) expectCascade(w words) {
	var c struct {
		Reference, State string
		Checks, Lots     int
	}
	s.gets("/v1/cascades/"+w["n"], &c)
	if c.Reference != w["reference"] || c.State != w["state"] || strconv.Itoa(c.Checks) != w["checks"] || strconv.Itoa(c.Lots) != w["lots"] {
		s.fail("%+v", c)
	}
}

func (s *story) deputes(w words) {
	s.acts(w["who"], "POST", "/v1/delegations", map[string]any{"person": w["person"], "deputy": w["deputy"], "role": w["role"],
		"until": s.rfc(s.moment(w["day"], w["time"])), "reason": w["reason"]}, nil)
}

func (s *story) proposesPolicy(w words) {
	s.gets("/v1/policy", nil)
	seen := s.tag
	body, err := os.ReadFile(w["file"])
	s.must(err)
	s.seen = seen
	status, said := s.call(w["who"], "PUT", "/v1/policy", "application/yaml", body)
	var b struct{ Record record }
	if s.understood(status, said, &b) {
		s.looked = b.Record
	}
}

func (s *story) expectPolicy(w words) {
	var p struct{ Version int }
	if s.gets("/v1/policy", &p); strconv.Itoa(p.Version) != w["n"] {
		s.fail("version %d is", p.Version)
	}
}

func (s *story) seesEffect(w words, works bool) {
	s.acts(w["who"], "POST", s.about("correction/effectiveness"), map[string]any{"effective": works, "text": w["note"], "looked_at": s.rfc(s.clock()),
		"evidence": []map[string]any{{"name": "what was seen", "media_type": "text/plain", "bytes": []byte(w["note"])}}}, nil)
}

// works lets a server's worker run until something has come of it.
func (s *story) works(done func() bool) {
	s.t.Helper()
	r, err := s.svc.StartJobs(s.t.Context(), workflow.JobOptions{})
	s.must(err)
	ok := done()
	for end := time.Now().Add(2 * time.Minute); !ok && time.Now().Before(end); ok = done() {
		time.Sleep(20 * time.Millisecond)
	}
	s.must(r.Stop(s.t.Context()))
	if !ok {
		s.fail("the server does not")
	}
}

func (s *story) escalated(w words) {
	s.works(func() bool {
		for _, e := range all[struct {
			Lot   string
			Roles []string
		}](s, "/v1/escalations") {
			if e.Lot == w["lot"] && slices.Contains(e.Roles, w["role"]) {
				return true
			}
		}
		return false
	})
}

func (s *story) foundOverdue(words) {
	before := len(all[struct{ ID int64 }](s, "/v1/deviations"))
	s.works(func() bool { return len(all[struct{ ID int64 }](s, "/v1/deviations")) > before })
}

// putsRight tells what whole_path.txt tells in full: another instrument takes the
// place of the one that failed, the corrective action is written, the records are
// reviewed, and the two sign who close.
func (s *story) putsRight(w words) {
	s.deviation = s.number(w["n"])
	var d struct{ Instrument string }
	s.gets("/v1/deviations/"+w["n"], &d)
	qa, technician := s.holder("qa_lead"), s.holder("calibration_technician")
	now := s.clock()
	hour := func(t time.Time) string { return t.Format("15:04") }
	for _, l := range []string{
		fmt.Sprintf(`instrument %s tolerance 1 C`, w["instrument"]),
		fmt.Sprintf(`check %s by %s verified %s: found 65.0 at 65.0, 80.0 at 80.0`, w["instrument"], technician, s.holder("verifier")),
		fmt.Sprintf(`lot after-%s nuggets 300 kg made %s %s`, w["instrument"], now.Format(time.DateOnly), hour(now.Add(5*time.Minute))),
		fmt.Sprintf(`at %s`, hour(now.Add(10*time.Minute))),
		fmt.Sprintf(`reading %s at %s 78.0 C lot after-%s limit cook`, w["instrument"], hour(now.Add(5*time.Minute)), w["instrument"]),
		fmt.Sprintf(`%s stops the line because the failed instrument read it`, s.holder("line_supervisor")),
		fmt.Sprintf(`%s restores the line with %s, read at %s, because the instrument was exchanged`, s.holder("line_supervisor"), w["instrument"], hour(now.Add(5*time.Minute))),
		fmt.Sprintf(`%s writes the cause: the thermocouple was bent when the belt was cleaned`, qa),
		fmt.Sprintf(`%s writes the control: the belt stood until another instrument read it`, qa),
		fmt.Sprintf(`%s writes the prevention, to be looked at on %s: a guard over the probe`, qa, now.AddDate(0, 2, 0).Format(time.DateOnly)),
		fmt.Sprintf(`%s writes the product: all in doubt is on hold or disposed of`, qa),
		fmt.Sprintf(`%s retires %s because its sheath is bent`, technician, d.Instrument),
		`everyone signs whatever else closing asks for`,
		fmt.Sprintf(`%s puts the records up for review: all records of the deviation`, s.holder("qualified_person")),
		`everyone signs what was put up`,
		fmt.Sprintf(`%s asks to close deviation %s`, qa, w["n"]),
		`everyone signs closing of deviation`,
	} {
		s.says(l)
	}
}

// says tells a line within another.
func (s *story) says(text string) {
	s.t.Helper()
	lines, err := s.understands(text)
	s.must(err)
	s.now.Add(int64(tick))
	lines[0].does(s, lines[0].said)
	if s.refused != nil {
		s.fail("%s\nwas refused:\n%s", text, s.refused.text)
	}
	s.traceWhatIsDue()
}
