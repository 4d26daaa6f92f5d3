//go:build linux

package scenarios

import (
	"fmt"
	"slices"
	"strings"
)

// signings are who signs what.
var signings = []sentence{
	{`{who} signs {kind} of {lot}[ portion {portion}] as {role}[ noting {note...}]`, (*story).signs},
	{`everyone signs {kind} of {lot}[ portion {portion}]`, (*story).everyoneSigns},
	{`{who} looks at {kind} of {lot}[ portion {portion}]`, (*story).looks},
	{`{who} signs what was looked at as {role}`, func(s *story, w words) { s.signsRecord(w["who"], w["role"], "", s.looked) }},
}

// record is something that is signed.
type record struct {
	Kind     string
	ID       int64
	Version  int
	SHA256   string
	WaitsFor *string `json:"waits_for"`
	Complete bool
	Seats    []seat
	Earlier  []struct{ Says string }
}

type seat struct {
	Role      string
	Signature *struct{ Person, Name, Title, Meaning string }
}

// record returns what a line speaks of: "disposition of L-1", "closing of
// deviation". Of a lot a lifting is that of the hold on it.
func (s *story) record(w words) (r record) {
	s.t.Helper()
	kind, id := w["kind"], int64(0)
	switch {
	case w["lot"] == "deviation": // that is spoken of
		id = s.deviation
	case kind == "lift":
		for _, h := range s.holds(w["lot"], w["portion"]) {
			id = h.ID
		}
	default:
		id = s.decided(w)
	}
	s.gets(fmt.Sprintf("/v1/records/%s/%d", kind, id), &r)
	return r
}

func (s *story) signs(w words) { s.signsRecord(w["who"], w["role"], w["note"], s.record(w)) }

func (s *story) looks(w words) { s.looked = s.record(w) }

func (s *story) signsRecord(who, role, note string, r record) bool {
	b := map[string]any{"role": role, "records": []map[string]any{{"kind": r.Kind, "id": r.ID, "sha256": r.SHA256}}}
	if note != "" {
		b["note"] = note
	}
	return s.acts(who, "POST", "/v1/signatures", b, nil)
}

// everyoneSigns lets sign whoever is asked for, in order, the first of the people
// with the role of whom the engine takes it.
func (s *story) everyoneSigns(w words) { s.allSign(func() record { return s.record(w) }) }

func (s *story) allSign(look func() record) {
	s.t.Helper()
	r := look()
	for range len(r.Seats) {
		if r.Complete {
			return
		}
		s.someoneSigns(r, text(r.WaitsFor))
		s.now.Add(int64(tick))
		r = look()
	}
	if !r.Complete {
		s.fail("%s %d still waits for %s", r.Kind, r.ID, text(r.WaitsFor))
	}
}

func (s *story) someoneSigns(r record, role string) {
	s.t.Helper()
	var said []string
	for _, c := range s.staff {
		if !slices.Contains(c.roles, role) {
			continue
		}
		if s.signsRecord(c.code, role, "", r) {
			return
		}
		said = append(said, c.code+": "+s.refused.text)
		s.refused = nil
	}
	s.fail("no %s signs %s %d\n%s", role, r.Kind, r.ID, strings.Join(said, "\n"))
}
