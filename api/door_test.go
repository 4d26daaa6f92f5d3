package api

import (
	"context"
	"database/sql"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	_ "github.com/lib/pq" // to break things behind the engine's back

	"lastgood/workflow/actor"
	"lastgood/workflow/key"
	"lastgood/workflow/pg"
)

// TestNoOperationWithoutItsKey: every operation of the contract, with every kind
// of key that must not open it.
func TestNoOperationWithoutItsKey(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	doc := contract()
	gone := p.newKey("gone", key.Scopes, time.Now().Add(time.Hour))
	if err := p.svc.RevokeKey(context.Background(), p.scope, "gone"); err != nil {
		t.Fatal(err)
	}
	ended := p.endedKey("ended")
	other := "lg_" + strings.Repeat("A", 43) // has the form of a key
	for _, op := range operations(doc) {
		if len(op.Security[0]) == 0 { // sign-in and set-password: there is nothing to show
			continue
		}
		t.Run(op.OperationID, func(t *testing.T) {
			q := *p
			q.t = t
			lacking := "scope-missing"
			if op.Security[0][scheme] == nil {
				lacking = "human-signature-required"
			}
			without := q.newKey("all but "+op.OperationID, slices.DeleteFunc(slices.Clone(key.Scopes), func(s key.Scope) bool {
				return slices.Contains(scopesOf(op.Operation), s)
			}), time.Now().Add(time.Hour))
			path, body, headers := op.example()
			for _, c := range []struct {
				authorization string
				status        int
				rule          string
			}{
				{"", 401, "key-missing"}, {"Basic eDp5", 401, "key-missing"}, {"Bearer ", 401, "key-missing"},
				{"Bearer garbage", 401, "unknown-key"}, {"Bearer " + other, 401, "unknown-key"},
				{"Bearer " + gone, 401, "key-ended"}, {"Bearer " + ended, 401, "key-ended"},
				{"Bearer " + without, 403, lacking},
				{"Bearer ls_", 401, "unknown-session"}, {"Bearer ls_" + other[3:], 401, "unknown-session"},
			} {
				res, answer := q.call(op.Method, path, body, append(slices.Clone(headers), "Authorization", c.authorization)...)
				q.refused(res, answer, c.status, c.rule)
				conforms(t, doc, op, res, answer)
				if (c.status == 401) != (res.Header.Get("WWW-Authenticate") != "") {
					t.Errorf("%d with WWW-Authenticate %q", c.status, res.Header.Get("WWW-Authenticate"))
				}
			}
		})
	}
}

// endedKey makes a key that has run out: the database is told that it did.
func (p *plant) endedKey(name string) string {
	p.t.Helper()
	secret := p.newKey(name, key.Scopes, time.Now().Add(time.Hour))
	p.behind(`update api_key set expires_at = now() - interval '1 second' where name = '` + name + `'`)
	return secret
}

// behind runs a statement behind the engine's back.
func (p *plant) behind(statement string) {
	p.t.Helper()
	db, err := sql.Open("postgres", p.dbs.Admin)
	if err != nil {
		p.t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec(statement); err != nil {
		p.t.Fatal(err)
	}
}

func TestSecretsAreShownOnceAndNeverKept(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	list, err := p.svc.Keys(context.Background(), p.scope)
	if err != nil {
		t.Fatal(err)
	}
	if len(list) != 1 || list[0].Name != "all" || len(list[0].Scopes) != len(key.Scopes) {
		t.Errorf("%+v", list)
	}
	var hits int
	db, err := sql.Open("postgres", p.dbs.Admin)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, table := range []string{"api_key", "trail_entry"} {
		q := `select count(*) from ` + table + ` t where t::text like $1 or encode(convert_to(t::text, 'UTF8'), 'escape') like $1`
		if err := db.QueryRow(q, "%"+strings.TrimPrefix(p.key, "lg_")+"%").Scan(&hits); err != nil {
			t.Fatal(err)
		}
		if hits != 0 {
			t.Errorf("%s holds the secret", table)
		}
	}
}

// TestOtherPlantsAreInvisible: a key of another plant of the same installation
// sees none of what this one has.
func TestOtherPlantsAreInvisible(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	id, err := p.svc.Plant(context.Background(), "Oxlip Quay Dairy", "UTC", nil)
	if err != nil {
		t.Fatal(err)
	}
	mine := p.key
	stranger := *p
	stranger.scope = pg.Scope{Plant: id, By: actor.Actor{ID: "tester", Kind: actor.Person}}
	stranger.key = stranger.newKey("all", key.Scopes, time.Now().Add(time.Hour))
	for _, path := range []string{"/v1/deviations", "/v1/holds", "/v1/trail?stream=deviation/1"} {
		if res, body := stranger.call("GET", path, ""); res.StatusCode != 200 || !strings.Contains(body, `"items":[]`) {
			t.Errorf("%s: %d %s", path, res.StatusCode, body)
		}
		if _, body := p.call("GET", path, "", "Authorization", "Bearer "+mine); strings.Contains(body, `"items":[]`) {
			t.Errorf("%s shows its own plant nothing", path)
		}
	}
	for path, rule := range map[string]string{"/v1/deviations/1": "unknown-deviation", "/v1/deviations/1/runs": "unknown-deviation",
		"/v1/deviations/1/runs/1": "unknown-run", "/v1/holds/1": "not-found", "/v1/policy": ""} {
		res, body := stranger.call("GET", path, "")
		if rule == "" {
			stranger.refused(res, body, 409, "no-policy")
			continue
		}
		stranger.refused(res, body, 404, rule)
	}
}

// driverWords are what must never leave the building.
var driverWords = regexp.MustCompile(`(?i)pq:|sqlstate|relation|permission|column "|syntax|select |\.go:|goroutine|lastgood_|127\.0\.0\.1|socket`)

// TestNoWordOfTheDatabaseLeaves: with every table gone, every operation fails,
// and says no more than that.
func TestNoWordOfTheDatabaseLeaves(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	p.behind(`do $$ declare t text; begin
		for t in select c.relname from pg_class c join pg_namespace n on n.oid = c.relnamespace
			where n.nspname = 'public' and c.relkind in ('r', 'p') and c.relname not in ('api_key', 'plant') and not c.relispartition
		loop execute format('revoke all on %I from lastgood_application', t); end loop; end $$`)
	doc := contract()
	failed := 0
	for _, op := range operations(doc) {
		path, body, headers := op.example()
		res, answer := p.call(op.Method, path, body, headers...)
		if said := driverWords.FindString(answer); said != "" {
			t.Errorf("%s says %q: %s", op.OperationID, said, answer)
		}
		if res.StatusCode == http.StatusInternalServerError {
			failed++
			p.refused(res, answer, 500, "internal")
			conforms(t, doc, op, res, answer)
		}
	}
	if failed < 10 {
		t.Errorf("only %d operations failed: the test breaks too little", failed)
	}
}

// TestDatabaseGone: a database that cannot be reached is no fault of the
// caller's and passes: 503, on every operation.
func TestDatabaseGone(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	p.behind(`do $$ begin
		execute format('alter database %I connection limit 0', current_database());
		perform pg_terminate_backend(pid) from pg_stat_activity where datname = current_database() and usename = 'lastgood_app';
	end $$`)
	for _, op := range operations(contract()) {
		path, body, headers := op.example()
		if len(op.Security[0]) == 0 { // nothing is asked of the database before the body is read
			body = `{"plant":"Tallow Mere Kitchens","person":"qa-1","password":"an invented phrase"` + map[bool]string{true: `,"code":"AAAA"`}[op.OperationID == "set-password"] + `}`
		}
		res, answer := p.call(op.Method, path, body, headers...)
		p.refused(res, answer, 503, "busy")
		if res.Header.Get("Retry-After") == "" {
			t.Errorf("%s does not say when to come back", op.OperationID)
		}
		if said := driverWords.FindString(answer); said != "" {
			t.Errorf("%s says %q: %s", op.OperationID, said, answer)
		}
	}
	res, answer := p.call("GET", "/healthz", "", "Authorization", "")
	p.refused(res, answer, 503, "busy")
}
