package api

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
	"lastgood/workflow"
	"lastgood/workflow/actor"
	"lastgood/workflow/key"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

const chill = "limits: [{limit: chill, kind: at_most, temperature: 5 C, hazard: listeria}]\n"

// puts sends a policy.
func (p *plant) puts(text string, headers ...string) (b DraftBody) {
	p.t.Helper()
	res, body := p.call("PUT", "/v1/policy", text, append(headers, "Content-Type", asYAML)...)
	p.decode(res, body, &b)
	if want := fmt.Sprintf("/v1/policy/drafts/%d", b.Draft); res.StatusCode != 202 || res.Header.Get("Location") != want {
		p.t.Fatalf("%d, at %q, want 202 at %s: %s", res.StatusCode, res.Header.Get("Location"), want, body)
	}
	return b
}

// agrees lets two people sign a draft.
func (p *plant) agrees(d DraftBody) {
	p.t.Helper()
	for code, role := range map[string]disposition.Role{"pcqi": disposition.QualifiedPerson, "manager": disposition.PlantManager} {
		p.joins(code, role)
	}
	for _, seat := range d.Record.Seats {
		code := map[string]string{"qualified_person": "pcqi", "plant_manager": "manager"}[seat.Role]
		sc := pg.Scope{Plant: p.scope.Plant, By: actor.Actor{ID: code, Kind: actor.Person, AuthenticatedAt: time.Now(), Session: "a session"}}
		_, err := p.svc.Sign(context.Background(), sc, disposition.Role(seat.Role), "", []workflow.ToSign{{Kind: signoff.Policy, ID: d.Draft, SHA256: d.Record.SHA256}})
		p.must(err)
	}
}

// TestFirstPolicyIsPutInForceAtOnce, and the same again, whatever it is told to
// match, changes nothing.
func TestFirstPolicyIsPutInForceAtOnce(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	id, err := p.svc.Plant(context.Background(), "Oxlip Quay Dairy", "UTC", nil)
	p.must(err)
	q := *p
	q.scope.Plant = id
	q.key = q.newKey("all", []key.Scope{key.FactsRead, key.PolicyWrite}, time.Now().Add(time.Hour))
	res, body := q.call("GET", "/v1/policy", "")
	q.refused(res, body, 409, "no-policy")
	for range 2 {
		var b PolicyBody
		res, body := q.call("PUT", "/v1/policy", chill, "Content-Type", asYAML)
		if q.decode(res, body, &b); res.StatusCode != 200 || b.Version != 1 || b.Text != chill || len(b.Limits) != 1 || b.Limits[0].Hazard != "listeria" ||
			res.Header.Get("ETag") != `"v1"` {
			t.Errorf("%d %s %+v", res.StatusCode, res.Header.Get("ETag"), b)
		}
	}
	var limits Page[LimitBody]
	if q.get("/v1/limits", &limits); len(limits.Items) != 1 || limits.Items[0].Limit != "chill" || limits.Items[0].Text != "at most 5 C" {
		t.Errorf("%+v", limits)
	}
	res, body = q.call("PUT", "/v1/policy", chill, "Content-Type", "application/json")
	q.refused(res, body, 415, "media-type")
	res, body = q.call("PUT", "/v1/policy", "limits:\n  - {limit: a, kind: at_least, temperature: 5 X}\n", "Content-Type", "application/yaml; charset=utf-8")
	if doc := q.refused(res, body, 422, "policy-refused"); len(doc.Errors) != 1 || doc.Errors[0].Line != 2 || doc.Errors[0].Location != "limits[0].temperature" {
		t.Errorf("%+v", doc.Errors)
	}
}

// TestPolicyByTwoPeopleOverHTTP: proposed with a key, read and signed by two people
// who are signed in, and the versions say who.
func TestPolicyByTwoPeopleOverHTTP(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	res, body := p.call("PUT", "/v1/policy", chill, "Content-Type", asYAML)
	p.refused(res, body, 428, "precondition-required")
	for _, tag := range []string{`"v2"`, `W/"v1"`, `"1"`} {
		res, body = p.call("PUT", "/v1/policy", chill, "Content-Type", asYAML, "If-Match", tag)
		p.refused(res, body, 412, "precondition-failed")
	}
	older := p.puts(chill+"onset: gradual\n", "If-Match", `"v1"`)
	d := p.puts(chill, "If-Match", `"v1"`)
	if again := p.puts(chill, "If-Match", `"v1"`); again.Draft != d.Draft || again.Record.SHA256 != d.Record.SHA256 {
		t.Errorf("the same draft again: %+v", again)
	}
	var changes []string
	for _, c := range d.Changes {
		changes = append(changes, fmt.Sprint(c.Part, " ", *c.Name, " ", c.Change, " ", c.Was != nil, " ", c.Now != nil))
	}
	if want := []string{"limits chill added false true", "limits cook-core removed true false"}; !slices.Equal(want, changes) ||
		d.State != "waits" || d.BasedOn != 1 || *d.Record.WaitsFor != "qualified_person" || len(d.Record.Seats) != 2 {
		t.Errorf("%v %+v", changes, d)
	}
	pcqi := p.enters("pcqi", p.joins("pcqi", disposition.QualifiedPerson))
	manager := p.enters("manager", p.joins("manager", disposition.PlantManager))
	var text DraftTextBody
	if pcqi.get(fmt.Sprintf("/v1/policy/drafts/%d", d.Draft), &text); text.Text != chill || text.SHA256 != d.SHA256 {
		t.Errorf("%+v", text)
	}
	sign := func(q *plant, role string, d DraftBody, status int, rule string) {
		t.Helper()
		ask := fmt.Sprintf(`{"role":%q,"records":[{"kind":"policy","id":%d,"sha256":%q}]}`, role, d.Draft, d.Record.SHA256)
		res, body := q.call("POST", "/v1/signatures", ask)
		if rule != "" {
			q.refused(res, body, status, rule)
		} else if res.StatusCode != status {
			t.Errorf("%d %s", res.StatusCode, body)
		}
	}
	sign(pcqi, "qualified_person", older, 409, "draft-outdated")
	sign(manager, "plant_manager", d, 409, "not-your-turn")
	sign(pcqi, "qualified_person", d, 201, "")
	var now PolicyBody
	if p.get("/v1/policy", &now); now.Version != 1 {
		t.Errorf("one signature put version %d in force", now.Version)
	}
	sign(manager, "plant_manager", d, 201, "")
	if res := p.get("/v1/policy", &now); now.Version != 2 || now.Text != chill || res.Header.Get("ETag") != `"v2"` {
		t.Errorf("%+v", now)
	}
	p.versions(d.Draft)
	own := manager.puts(chill+"onset: gradual\n", "If-Match", `"v2"`)
	sign(pcqi, "qualified_person", own, 201, "")
	sign(manager, "plant_manager", own, 403, "sod-conflict")
}

// versions looks at what is told of versions and drafts when the second version
// came from a draft.
func (p *plant) versions(draft int64) {
	p.t.Helper()
	var list Page[PolicyVersionBody]
	p.get("/v1/policy/versions", &list)
	var got []string
	for _, v := range list.Items {
		line := fmt.Sprintf("%d by %s", v.Version, v.By)
		if v.Record != nil {
			for _, seat := range v.Record.Seats {
				line += " " + seat.Signature.Name
			}
		}
		got = append(got, line)
	}
	if d := cmp.Diff([]string{"1 by tester", "2 by manager Person pcqi Person manager"}, got); d != "" {
		p.t.Errorf("versions (-want +got):\n%s", d)
	}
	if p.get("/v1/policy/versions?limit=1", &list); len(list.Items) != 1 || list.NextCursor == nil {
		p.t.Errorf("%+v", list)
	} else if p.get("/v1/policy/versions?limit=1&cursor="+*list.NextCursor, &list); len(list.Items) != 1 || list.Items[0].Version != 2 || *list.Items[0].Draft != draft {
		p.t.Errorf("%+v", list)
	}
	var first PolicyBody
	if p.get("/v1/policy?version=1", &first); first.Version != 1 || !strings.Contains(first.Text, "cook-core") {
		p.t.Errorf("%+v", first)
	}
	res, body := p.call("GET", "/v1/policy?version=3", "")
	p.refused(res, body, 404, "unknown-version")
	var drafts Page[DraftBody]
	p.get("/v1/policy/drafts", &drafts)
	var states []string
	for _, d := range drafts.Items {
		states = append(states, d.State)
	}
	if !slices.Equal(states, []string{"outdated", "adopted"}) || *drafts.Items[1].Version != 2 {
		p.t.Errorf("%v %+v", states, drafts)
	}
	res, body = p.call("GET", fmt.Sprintf("/v1/policy/drafts/%d", draft+100), "")
	p.refused(res, body, 404, "unknown-draft")
	var record RecordBody
	p.get(fmt.Sprintf("/v1/records/policy/%d", draft), &record)
	if text, err := json.Marshal(record.Content); err != nil || !strings.Contains(string(text), "open_deviations_routed_otherwise") {
		p.t.Errorf("%s %v", text, err)
	}
}
