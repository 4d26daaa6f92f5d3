package api

import (
	"strings"
	"testing"
)

// TestGenealogyOverHTTP: a lot is found by its GS1 key in any form; what closes a
// cycle is put aside, listed, and resolved by a person.
func TestGenealogyOverHTTP(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	p.posts("/v1/lots", `{"lot":"010401234512345610998877","quantity":100,"quantity_unit":"kg"},{"lot":"B"}`)
	c := p.posts("/v1/transformations", `{"event":"x","at":"2025-03-03T10:00:00Z","input_lot":"urn:epc:class:lgtin:4012345.012345.998877","input_quantity":25,"output_lot":"B","quantity_unit":"kg"},
		{"event":"y","at":"2025-03-03T11:00:00Z","input_lot":"B","output_lot":"(01)04012345123456(10)998877"}`)
	if c.Accepted != 1 || len(c.Quarantined) != 1 || c.Quarantined[0].Location != "body.items[1].output_lot" {
		t.Fatalf("%+v", c)
	}
	ask := func(path, want string) {
		t.Helper()
		if res, body := p.call("GET", path, ""); res.StatusCode != 200 || !strings.Contains(body, want) {
			t.Errorf("%s: %d without %s\n%s", path, res.StatusCode, want, body)
		}
	}
	ask("/v1/lots/010401234512345610998877/genealogy", `"share":"0.25"`)
	ask("/v1/lots/B/genealogy?direction=backward&depth=1", `"lot":"(01)04012345123456(10)998877","steps":1`)
	ask("/v1/lots/quarantined-transformations?open=true", `"lots":["(01)04012345123456(10)998877","B"]`)
	ruling := `{"verdict":"rejected","reason":"a slip of the pen","decided_by":"qa-1"}`
	path := "/v1/lots/quarantined-transformations/" + number(c.Quarantined[0].ID) + "/resolution"
	if res, body := p.call("POST", path, ruling); res.StatusCode != 200 || !strings.Contains(body, `"decided_by":"qa-1"`) {
		t.Errorf("%d %s", res.StatusCode, body)
	}
	ask("/v1/lots/quarantined-transformations?open=true", `"items":[]`)
	if res, body := p.call("GET", "/v1/lots/(01)04012345123457(10)998877", ""); res.StatusCode != 422 || !strings.Contains(body, "must be 6") {
		t.Errorf("a wrong check digit: %d %s", res.StatusCode, body)
	}
}
