package api

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"

	"lastgood/workflow/key"
)

// gateSays reads an answer of the ship gate.
func (p *plant) gateSays(res *http.Response, body string) GateBody {
	p.t.Helper()
	var b GateBody
	if err := json.Unmarshal([]byte(body), &b); err != nil || res.StatusCode != http.StatusOK {
		p.t.Fatalf("%d %v %s", res.StatusCode, err, body)
	}
	if res.Header.Get("Cache-Control") != "no-store" {
		p.t.Error("an answer that holds for seconds may be kept")
	}
	as, err := time.Parse(time.RFC3339Nano, b.AsOf)
	if err != nil {
		p.t.Fatal(err)
	}
	if until, err := time.Parse(time.RFC3339Nano, b.ValidUntil); err != nil || until.Sub(as) != 10*time.Second {
		p.t.Errorf("as of %s until %s", b.AsOf, b.ValidUntil)
	}
	return b
}

func TestShipGate(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	res, body := p.call("POST", "/v1/lots", `{"items":[{"lot":"free","quantity":"50","quantity_unit":"kg"}]}`)
	if res.StatusCode != http.StatusCreated {
		t.Fatalf("%d %s", res.StatusCode, body)
	}
	dock := []string{"Authorization", "Bearer " + p.newKey("dock", []key.Scope{key.ShipAsk}, time.Now().Add(time.Hour))}
	b := p.gateSays(p.call("POST", "/v1/ship-gate", `{"shipment":"S-1","consignee":"a customer","items":[{"lot":"L-1"},`+
		`{"lot":"free","quantity":"50","quantity_unit":"kg"},{"lot":"free","quantity":"0.5","quantity_unit":"kg"},{"lot":"never/seen"}]}`, dock...))
	var got []string
	for _, it := range b.Items {
		for _, r := range it.Reasons {
			got = append(got, fmt.Sprintf("%s %s %s", it.Lot, r.Rule, r.Link))
		}
	}
	want := "L-1 on-hold /v1/holds/1;free too-much /v1/lots/free;free too-much /v1/lots/free;never/seen unknown-lot /v1/lots/never%2Fseen"
	if strings.Join(got, ";") != want || b.MayShip || b.Question == 0 {
		t.Errorf("%s\nwant %s", strings.Join(got, ";"), want)
	}
	if b = p.gateSays(p.call("GET", "/v1/ship-gate/free?quantity=50&quantity_unit=kg&shipment=S-1", "", dock...)); !b.MayShip || !b.Items[0].MayShip || b.Items[0].Reasons == nil {
		t.Errorf("%+v", b)
	}
	for body, rule := range map[string]string{`{}`: "invalid", `{"items":[]}`: "invalid", `{"items":[{"lot":""}]}`: "invalid",
		`{"items":[{"lot":"free","quantity":"50"}]}`:      "not-a-quantity",
		`{"items":[{"lot":"free","quantity_unit":"kg"}]}`: "not-a-quantity"} {
		res, answer := p.call("POST", "/v1/ship-gate", body, dock...)
		p.refused(res, answer, http.StatusUnprocessableEntity, rule)
	}
	res, body = p.call("GET", "/v1/holds", "", dock...)
	p.refused(res, body, http.StatusForbidden, "scope-missing")
}

// Whatever goes wrong on our side, the gate says not to load: a database that
// fails, one that takes no writes, one that is gone.
func TestShipGateFailsClosed(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ harm, rule string }{
		"a table fails":   {`revoke all on transformation from lastgood_application`, "undecided"},
		"a full disk":     {`revoke insert on ship_question from lastgood_application`, "undecided"},
		"out of service":  {`do $$ begin execute format('alter database %I set default_transaction_read_only = on', current_database()); end $$`, "busy"},
		"no connections":  {`do $$ begin execute format('alter database %I connection limit 0', current_database()); end $$`, "busy"},
		"the key's table": {`drop function find_key(bytea)`, "undecided"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			p := newPlant(t)
			p.behind(c.harm)
			p.behind(`select pg_terminate_backend(pid) from pg_stat_activity where datname = current_database() and usename = 'lastgood_app'`)
			for _, ask := range [][3]string{{"GET", "/v1/ship-gate/A", ""}, {"POST", "/v1/ship-gate", `{"items":[{"lot":"A"}]}`}} {
				var problem Problem
				for range 20 { // connections that were cut are noticed when they are used
					res, body := p.call(ask[0], ask[1], ask[2])
					problem = p.refused(res, body, http.StatusServiceUnavailable, problemRule(body))
					if problem.Rule == c.rule {
						break
					}
				}
				if problem.Rule != c.rule || !strings.HasPrefix(problem.Detail, "do not load") {
					t.Errorf("%+v", problem)
				}
			}
		})
	}
}

func problemRule(body string) string {
	var p Problem
	_ = json.Unmarshal([]byte(body), &p)
	return p.Rule
}

func TestHoldByHandAndItsTag(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	const request = `{"lot":"L-2","reason":"the label is wrong"}`
	res, body := p.call("POST", "/v1/holds", request, "Idempotency-Key", "h-1")
	var h HoldBody
	if err := json.Unmarshal([]byte(body), &h); err != nil || res.StatusCode != http.StatusCreated || res.Header.Get("ETag") != `"v1"` {
		t.Fatalf("%d %s", res.StatusCode, body)
	}
	if h.Reason == nil || *h.Reason != "the label is wrong" || h.Deviation != nil || h.Cascade != nil || h.PlacedBy != "key all" || h.Lot != "L-2" {
		t.Errorf("%s", body)
	}
	if _, again := p.call("POST", "/v1/holds", request, "Idempotency-Key", "h-1"); again != body {
		t.Errorf("%s\n%s", again, body)
	}
	res, body = p.call("POST", "/v1/holds", `{"lot":"nobody's","reason":"x"}`)
	p.refused(res, body, http.StatusNotFound, "unknown-lot")
	res, body = p.call("POST", "/v1/shipments", `{"items":[{"shipment":"S-1","lot":"L-1","quantity":"5","quantity_unit":"kg","shipped_at":"2025-03-05T10:00:00Z","consignee":"a customer"}]}`)
	if res.StatusCode != http.StatusCreated {
		t.Fatalf("what has happened is refused: %d %s", res.StatusCode, body)
	}
	for _, path := range []string{"/v1/holds/1", "/v1/holds", "/v1/deviations/1", "/v1/lots/L-1"} {
		if _, body := p.call("GET", path, ""); !strings.Contains(body, `"moved_at":"2025-03-05T10:00:00Z"`) {
			t.Errorf("%s does not say that it moved: %s", path, body)
		}
	}
	for path, pages := range map[string]int{"/v1/holds/1/tag.pdf": 1, fmt.Sprintf("/v1/holds/%d/tag.pdf", h.ID): 1, "/v1/deviations/1/hold-tags.pdf": 2} {
		res, body := p.call("GET", path, "")
		if res.StatusCode != http.StatusOK || res.Header.Get("Content-Type") != "application/pdf" || bytes.Count([]byte(body), []byte("/Type /Page\n")) != pages {
			t.Errorf("%s: %d %s, %d bytes", path, res.StatusCode, res.Header.Get("Content-Type"), len(body))
		}
	}
	res, body = p.call("GET", "/v1/deviations/99/hold-tags.pdf", "")
	p.refused(res, body, http.StatusNotFound, "unknown-deviation")
	res, body = p.call("GET", "/v1/holds/99/tag.pdf", "")
	p.refused(res, body, http.StatusNotFound, "not-found")
}
