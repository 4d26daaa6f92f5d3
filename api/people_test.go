package api

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
	"lastgood/workflow/key"
	"lastgood/workflow/person"
)

const phrase = "an invented phrase"

// joins adds somebody with roles, by the command line, and returns their one-time
// code.
func (p *plant) joins(code string, roles ...disposition.Role) string {
	p.t.Helper()
	var grants []person.Grant
	for _, r := range roles {
		g := person.Grant{Role: r}
		if person.NeedsQualification(r) {
			g.Qualification = person.Qualification{Kind: "PCQI", Reference: "course 7"}
		}
		grants = append(grants, g)
	}
	oneTime, err := p.svc.AddPerson(context.Background(), p.scope, person.Identity{Code: code, Name: "Person " + code, Title: "Title"}, grants...)
	if err != nil {
		p.t.Fatal(err)
	}
	return oneTime
}

// enters lets somebody in who joined with a one-time code, and returns who calls
// from then on.
func (p *plant) enters(code, oneTime string) *plant {
	p.t.Helper()
	body := fmt.Sprintf(`{"plant":"Tallow Mere Kitchens","person":%q,"code":%q,"password":%q}`, code, oneTime, phrase)
	if res, said := p.call("POST", "/v1/passwords", body, "Authorization", ""); res.StatusCode != 204 {
		p.t.Fatalf("%d %s", res.StatusCode, said)
	}
	res, said := p.call("POST", "/v1/sessions", signInBody(code, phrase), "Authorization", "")
	var b NewSessionBody
	if err := json.Unmarshal([]byte(said), &b); err != nil || res.StatusCode != 201 || !strings.HasPrefix(b.Token, "ls_") ||
		res.Header.Get("Cache-Control") != "no-store" {
		p.t.Fatalf("%d %s %v", res.StatusCode, said, err)
	}
	q := *p
	q.key = b.Token
	return &q
}

func signInBody(code, password string) string {
	return fmt.Sprintf(`{"plant":"Tallow Mere Kitchens","person":%q,"password":%q}`, code, password)
}

// answers checks an answer's status and returns its body.
func (p *plant) answers(method, path, body string, status int) string {
	p.t.Helper()
	res, said := p.call(method, path, body)
	if res.StatusCode != status {
		p.t.Errorf("%s %s: %d, want %d\n%s", method, path, res.StatusCode, status, said)
	}
	return said
}

func TestSessionOverHTTP(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	qa := p.enters("qa-1", p.joins("qa-1", disposition.QALead))
	who := func() (b SessionBody) {
		if err := json.Unmarshal([]byte(qa.answers("GET", "/v1/session", "", 200)), &b); err != nil {
			t.Fatal(err)
		}
		return b
	}
	before := who()
	if before.Person != "qa-1" || before.Name != "Person qa-1" || before.Session == "" || len(before.Roles) != 1 || before.Roles[0].Role != "qa_lead" {
		t.Errorf("%+v", before)
	}
	res, body := qa.call("POST", "/v1/session/confirmation", `{"password":"not that phrase"}`)
	qa.refused(res, body, 401, "sign-in-refused")
	var confirmed SessionBody
	if err := json.Unmarshal([]byte(qa.answers("POST", "/v1/session/confirmation", fmt.Sprintf(`{"password":%q}`, phrase), 200)), &confirmed); err != nil {
		t.Fatal(err)
	}
	if after := who(); after.AuthenticatedAt == before.AuthenticatedAt || after.AuthenticatedAt != confirmed.AuthenticatedAt || after.Session != before.Session {
		t.Errorf("%+v\n%+v\n%+v", before, confirmed, after)
	}
	qa.answers("DELETE", "/v1/session", "", 204)
	res, body = qa.call("GET", "/v1/session", "")
	qa.refused(res, body, 401, "session-ended")

	res, body = p.call("POST", "/v1/sessions", signInBody("qa-9", phrase), "Authorization", "")
	p.refused(res, body, 401, "sign-in-refused")
	if res.Header.Get("WWW-Authenticate") != "" {
		t.Error("a browser would ask for a password of its own")
	}
	for range 5 {
		p.call("POST", "/v1/sessions", signInBody("qa-1", "not that phrase"), "Authorization", "")
	}
	res, body = p.call("POST", "/v1/sessions", signInBody("qa-1", phrase), "Authorization", "")
	p.refused(res, body, 403, "sign-in-locked")
}

// TestPeopleOverHTTP: everything that an administrator does, and who reads it.
func TestPeopleOverHTTP(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	admin := p.enters("admin-1", p.joins("admin-1", disposition.Administrator))
	soon := time.Now().Add(24 * time.Hour).UTC().Format(time.RFC3339)
	var added OneTimeBody
	said := admin.answers("POST", "/v1/people", `{"code":"qa-1","name":"A. B. Sample","title":"QA lead","roles":[{"role":"qa_lead"},
		{"role":"qualified_person","until":"`+soon+`","qualification":{"kind":"PCQI","reference":"course 7","valid_until":"`+soon+`"}}]}`, 201)
	if err := json.Unmarshal([]byte(said), &added); err != nil || added.Person != "qa-1" || len(added.Code) != 19 {
		t.Fatalf("%s %v", said, err)
	}
	qa := p.enters("qa-1", added.Code)
	admin.answers("POST", "/v1/people", `{"code":"qa-2","name":"C. D. Sample","title":"Verifier"}`, 201)
	admin.answers("POST", "/v1/people/qa-2/roles", `{"role":"verifier"}`, 204)
	admin.answers("POST", "/v1/people/qa-2/roles", `{"role":"operator"}`, 204)
	admin.answers("DELETE", "/v1/people/qa-2/roles/operator", "", 204)
	admin.answers("POST", "/v1/delegations", `{"person":"qa-1","deputy":"qa-2","role":"qa_lead","until":"`+soon+`","reason":"leave"}`, 204)
	var people Page[PersonBody]
	if err := json.Unmarshal([]byte(qa.answers("GET", "/v1/people", "", 200)), &people); err != nil {
		t.Fatal(err)
	}
	var lines []string
	for _, b := range people.Items {
		for _, r := range b.Roles {
			line := b.Code + " " + r.Role
			if r.For != nil {
				line += " for " + *r.For
			}
			if r.Qualification != nil {
				line += " by " + r.Qualification.Kind
			}
			lines = append(lines, line)
		}
	}
	want := []string{"admin-1 administrator", "qa-1 qa_lead", "qa-1 qualified_person by PCQI", "qa-2 qa_lead for qa-1", "qa-2 verifier"}
	if d := cmp.Diff(want, lines); d != "" {
		t.Error(d)
	}
	for _, reader := range []*plant{p, admin} { // a key with deviations:read, and an administrator
		if got := reader.answers("GET", "/v1/people?limit=1", "", 200); !strings.Contains(got, `"admin-1"`) || strings.Contains(got, `"next_cursor":null`) {
			t.Errorf("%s", got)
		}
	}
	if said := admin.answers("POST", "/v1/people/qa-1/reset", "", 200); !strings.Contains(said, `"one_time_code":null,"second_administrator_until":"2`) {
		t.Errorf("one administrator resets who signs: %s", said)
	}
	qa.answers("GET", "/v1/session", "", 200)
	second := p.enters("admin-2", p.joins("admin-2", disposition.Administrator))
	if said := second.answers("POST", "/v1/people/qa-1/reset", "", 200); strings.Contains(said, `"one_time_code":null`) || !strings.Contains(said, `"second_administrator_until":null`) {
		t.Errorf("two administrators reset nobody: %s", said)
	}
	res, body := qa.call("GET", "/v1/session", "")
	qa.refused(res, body, 401, "session-ended")
	admin.answers("POST", "/v1/people/qa-2/departure", `{}`, 204)
	admin.wrongs(soon)
}

// wrongs tries what an administrator may not do.
func (p *plant) wrongs(soon string) {
	p.t.Helper()
	for _, c := range []struct {
		method, path, body string
		status             int
		rule               string
	}{
		{"POST", "/v1/people", `{"code":"QA-1","name":"A","title":"B"}`, 409, "duplicate"},
		{"POST", "/v1/people", `{"code":"qa-2","name":"A","title":"B"}`, 409, "duplicate"}, // who has left
		{"POST", "/v1/people", `{"code":"qa-3","name":"A","title":"B","roles":[{"role":"chef"}]}`, 422, "unknown-word"},
		{"POST", "/v1/people", `{"code":"qa-3","name":"A","title":"B","roles":[{"role":"administrator"},{"role":"verifier"}]}`, 409, "role-conflict"},
		{"POST", "/v1/people/admin-1/roles", `{"role":"verifier"}`, 409, "role-conflict"},
		{"POST", "/v1/people/qa-1/roles", `{"role":"verifier","until":"tomorrow"}`, 422, "bad-time"},
		{"POST", "/v1/people/qa-9/roles", `{"role":"verifier"}`, 404, "unknown-person"},
		{"DELETE", "/v1/people/qa-1/roles/verifier", "", 404, "role-not-held"},
		{"POST", "/v1/people/qa-2/departure", `{}`, 409, "departed"},
		{"POST", "/v1/people/qa-9/reset", "", 404, "unknown-person"},
		{"POST", "/v1/delegations", `{"person":"qa-1","deputy":"admin-1","role":"qa_lead","until":"` + soon + `","reason":"leave"}`, 409, "role-conflict"},
	} {
		res, said := p.call(c.method, c.path, c.body)
		p.refused(res, said, c.status, c.rule)
	}
	if said := p.answers("GET", "/v1/people", "", 200); strings.Contains(said, "qa-3") {
		p.t.Errorf("who was refused was added: %s", said)
	}
}

// TestWhatRolesOpen: every operation of the contract, by every role: let in as
// far as the table says, and no further.
func TestWhatRolesOpen(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	doc := contract()
	for _, role := range append(slices.Clone(person.Roles), "") {
		code := "p " + string(role)
		var roles []disposition.Role
		if role != "" {
			roles = append(roles, role)
		}
		someone := p.enters(strings.TrimSpace(code), p.joins(strings.TrimSpace(code), roles...))
		for _, op := range operations(doc) {
			if len(op.Security[0]) == 0 || op.OperationID == "sign-out" {
				continue
			}
			path, body, headers := op.example()
			res, said := someone.call(op.Method, path, body, headers...)
			shut := res.StatusCode == 403 && strings.Contains(said, `"scope-missing"`)
			if opens := slices.ContainsFunc(op.Security, func(way map[string][]string) bool {
				scopes, ok := way[sessionScheme]
				return ok && !slices.ContainsFunc(scopes, func(s string) bool { return !slices.Contains(scopesOfRole[role], key.Scope(s)) })
			}); opens == shut {
				t.Errorf("%s by %q: %d %s", op.OperationID, role, res.StatusCode, said)
			}
			if res.StatusCode == 401 {
				t.Errorf("%s by %q: %s", op.OperationID, role, said)
			}
		}
	}
}

// TestScopesOfRoles: what no role may have, and who has none but their own.
func TestScopesOfRoles(t *testing.T) {
	t.Parallel()
	if len(scopesOfRole) != len(person.Roles) {
		t.Errorf("%d of %d roles have scopes", len(scopesOfRole), len(person.Roles))
	}
	writes := func(s key.Scope) bool { return strings.HasSuffix(string(s), ":write") }
	if slices.ContainsFunc(scopesOfRole[disposition.Inspector], writes) {
		t.Error("an inspector writes")
	}
	if d := cmp.Diff([]key.Scope{peopleWrite}, scopesOfRole[disposition.Administrator]); d != "" {
		t.Error(d)
	}
	for role, scopes := range scopesOfRole {
		if role != disposition.Administrator && slices.Contains(scopes, peopleWrite) {
			t.Errorf("%s administers people", role)
		}
		if role != disposition.Administrator && role != disposition.Inspector && !slices.Contains(scopes, key.HoldsWrite) {
			t.Errorf("%s cannot place a hold", role)
		}
	}
	if slices.Contains(scopesOfRole[disposition.QALead], key.PolicyWrite) || slices.Contains(key.Scopes, peopleWrite) {
		t.Error("a QA lead writes the policy, or a key administers people")
	}
}
