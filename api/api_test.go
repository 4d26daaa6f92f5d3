package api

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/workflow"
	"lastgood/workflow/actor"
	"lastgood/workflow/key"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// plant is a served engine with one plant, on a database of the test's own.
type plant struct {
	t     *testing.T
	svc   *workflow.Service
	scope pg.Scope
	url   string
	key   string // all scopes
	dbs   pgtest.DBs
}

func newPlant(t *testing.T) *plant {
	t.Helper()
	dbs := pgtest.DB(t)
	db, err := pg.Open(context.Background(), dbs.App, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	svc, err := workflow.New(db)
	if err != nil {
		t.Fatal(err)
	}
	id, err := svc.Plant(context.Background(), "Tallow Mere Kitchens", "UTC", nil)
	if err != nil {
		t.Fatal(err)
	}
	p := &plant{t: t, svc: svc, dbs: dbs, scope: pg.Scope{Plant: id, By: actor.Actor{ID: "tester", Kind: actor.Person}}}
	if _, err := svc.PutPolicy(context.Background(), p.scope, []byte("limits: [{limit: cook-core, kind: at_least, temperature: 160 F}]\n")); err != nil {
		t.Fatal(err)
	}
	p.key = p.newKey("all", key.Scopes, time.Now().Add(time.Hour))
	srv := httptest.NewServer(New(svc, Options{}))
	t.Cleanup(srv.Close)
	p.url = srv.URL
	return p
}

func (p *plant) newKey(name string, scopes []key.Scope, expires time.Time) string {
	p.t.Helper()
	secret, err := p.svc.AddKey(context.Background(), p.scope, name, scopes, expires)
	if err != nil {
		p.t.Fatal(err)
	}
	return secret
}

// call sends a request and returns the answer. headers are pairs.
func (p *plant) call(method, path, body string, headers ...string) (*http.Response, string) {
	p.t.Helper()
	req, err := http.NewRequest(method, p.url+path, strings.NewReader(body))
	if err != nil {
		p.t.Fatal(err)
	}
	req.Header.Set("Authorization", "Bearer "+p.key)
	if body != "" {
		req.Header.Set("Content-Type", "application/json")
	}
	for i := 0; i < len(headers); i += 2 {
		req.Header.Set(headers[i], headers[i+1])
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		p.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		p.t.Fatal(err)
	}
	return res, string(b)
}

// refused checks that an answer is a problem document of a rule.
func (p *plant) refused(res *http.Response, body string, status int, rule string) Problem {
	p.t.Helper()
	var doc Problem
	if err := json.Unmarshal([]byte(body), &doc); err != nil {
		p.t.Fatalf("no problem document: %v\n%s", err, body)
	}
	if res.StatusCode != status || doc.Status != status || doc.Rule != rule {
		p.t.Errorf("got %d %s, want %d %s\n%s", res.StatusCode, doc.Rule, status, rule, body)
	}
	if ct := res.Header.Get("Content-Type"); ct != "application/problem+json" {
		p.t.Errorf("content type %s", ct)
	}
	if doc.Instance == "" || doc.Detail == "" || doc.Type != "/problems/"+rule {
		p.t.Errorf("incomplete: %s", body)
	}
	return doc
}

func TestWhatTheTransportRefuses(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	for _, c := range []struct {
		name, method, path, body string
		headers                  []string
		status                   int
		rule                     string
	}{
		{"no such path", "GET", "/v1/nothing", "", nil, 404, "not-found"},
		{"wrong method", "DELETE", "/v1/policy", "", nil, 405, "method-not-allowed"},
		{"no key", "GET", "/v1/policy", "", []string{"Authorization", ""}, 401, "key-missing"},
		{"another scheme", "GET", "/v1/policy", "", []string{"Authorization", "Basic eA=="}, 401, "key-missing"},
		{"garbage key", "GET", "/v1/policy", "", []string{"Authorization", "Bearer x"}, 401, "unknown-key"},
		{"unknown query", "GET", "/v1/deviations?stat=detected", "", nil, 422, "invalid"},
		{"bad enum", "GET", "/v1/deviations?state=lost", "", nil, 422, "invalid"},
		{"bad cursor", "GET", "/v1/deviations?cursor=%21", "", nil, 422, "bad-cursor"},
		{"foreign cursor", "GET", "/v1/deviations?cursor=YWJj", "", nil, 422, "bad-cursor"},
		{"limit", "GET", "/v1/deviations?limit=5000", "", nil, 422, "invalid"},
		{"unknown deviation", "GET", "/v1/deviations/99", "", nil, 404, "unknown-deviation"},
		{"no If-Match", "POST", "/v1/holds/1/acknowledgement", `{"counted_quantity":"1","quantity_unit":"kg"}`, nil, 428, "precondition-required"},
		{"weak If-Match", "POST", "/v1/holds/1/acknowledgement", `{"counted_quantity":"1","quantity_unit":"kg"}`, []string{"If-Match", `W/"v1"`}, 412, "precondition-failed"},
		{"duplicate member", "POST", "/v1/holds/1/acknowledgement", `{"counted_quantity":"1","counted_quantity":"2","quantity_unit":"kg"}`, []string{"If-Match", `"v1"`}, 400, "bad-request"},
		{"unknown member", "POST", "/v1/holds/1/acknowledgement", `{"counted_quantity":"1","quantity_unit":"kg","x":1}`, []string{"If-Match", `"v1"`}, 422, "invalid"},
		{"wrong case", "POST", "/v1/holds/1/acknowledgement", `{"Counted_Quantity":"1","quantity_unit":"kg"}`, []string{"If-Match", `"v1"`}, 422, "invalid"},
		{"negative count", "POST", "/v1/holds/1/acknowledgement", `{"counted_quantity":"-1","quantity_unit":"kg"}`, []string{"If-Match", `"v1"`}, 422, "not-a-quantity"},
		{"no JSON", "POST", "/v1/holds/1/acknowledgement", `{`, []string{"If-Match", `"v1"`}, 400, "bad-request"},
		{"wrong media type", "POST", "/v1/holds/1/acknowledgement", `<a/>`, []string{"If-Match", `"v1"`, "Content-Type", "text/xml"}, 415, "media-type"},
		{"too large", "POST", "/v1/holds/1/acknowledgement", `{"quantity_unit":"` + strings.Repeat("k", 2<<20) + `"}`, []string{"If-Match", `"v1"`}, 413, "too-large"},
		{"bad policy", "PUT", "/v1/policy", "limits: [{limit: a, kind: cooling}]\n", []string{"Content-Type", "application/yaml"}, 422, "policy-refused"},
	} {
		t.Run(c.name, func(t *testing.T) {
			q := *p
			q.t = t
			res, body := q.call(c.method, c.path, c.body, c.headers...)
			q.refused(res, body, c.status, c.rule)
		})
	}
}

func TestKeys(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	narrow := p.newKey("narrow", []key.Scope{key.TrailRead}, time.Now().Add(time.Hour))
	gone := p.newKey("gone", key.Scopes, time.Now().Add(time.Hour))
	if err := p.svc.RevokeKey(context.Background(), p.scope, "gone"); err != nil {
		t.Fatal(err)
	}
	short := p.newKey("short", key.Scopes, time.Now().Add(50*time.Millisecond))
	time.Sleep(60 * time.Millisecond) // the key's own end, not a wait for anything
	for _, c := range []struct {
		secret string
		status int
		rule   string
	}{{narrow, 403, "scope-missing"}, {gone, 401, "key-ended"}, {short, 401, "key-ended"}} {
		res, body := p.call("GET", "/v1/policy", "", "Authorization", "Bearer "+c.secret)
		p.refused(res, body, c.status, c.rule)
	}
	if res, body := p.call("GET", "/v1/policy", ""); res.StatusCode != 200 || !strings.Contains(body, "cook-core") {
		t.Errorf("%d %s", res.StatusCode, body)
	}
}
