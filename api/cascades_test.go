package api

import (
	"context"
	"strings"
	"testing"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/actor"
	"lastgood/workflow/key"
	"lastgood/workflow/person"
	"lastgood/workflow/pg"
)

// referenceCheck is a comparison of an instrument at 32 F and 160 F against a
// reference that found one error at both.
func referenceCheck(instrument, reference, at, found32, found160 string) string {
	text := strings.ReplaceAll(checkText(at, found32, found160), `"T-1"`, `"`+instrument+`"`)
	return strings.ReplaceAll(text, `"unit":"F",`, `"unit":"F","reference":"`+reference+`",`)
}

// newTree is a plant in which T-1 read a lot, was checked against R-1 on the 4th
// and well, and R-1 is about to fail.
func newTree(t *testing.T) *plant {
	t.Helper()
	p := newPlant(t)
	p.posts("/v1/instruments", `{"instrument":"R-1","unit":"F","tolerance":1.0,"in_service_from":"2025-03-01T00:00:00Z"},
		{"instrument":"T-1","unit":"F","tolerance":1.0,"in_service_from":"2025-03-01T00:00:00Z"}`)
	p.posts("/v1/lots", `{"lot":"L-1","quantity":100,"quantity_unit":"kg"}`)
	for _, c := range []string{strings.ReplaceAll(checkText("2025-03-02T06:00:00Z", "32.0", "160.0"), `"T-1"`, `"R-1"`),
		checkText("2025-03-02T06:00:00Z", "32.0", "160.0"), referenceCheck("T-1", "R-1", "2025-03-04T06:00:00Z", "32.0", "160.0")} {
		res, body := p.call("POST", "/v1/checks", c)
		got[CheckedBody](p, res, body, 201)
	}
	res, body := p.uploads("b-1", commaSeparated, "instrument,taken_at,value,unit,lot,limit\nT-1,2025-03-03T10:00:00Z,161.0,F,L-1,cook-core\n")
	got[UploadBody](p, res, body, 200)
	return p
}

var fallOfR1 = strings.ReplaceAll(checkText("2025-03-05T06:00:00Z", "35.0", "163.0"), `"T-1"`, `"R-1"`)

// What a check would do is told before it is recorded, and nothing is written.
func TestCheckIsPreviewed(t *testing.T) {
	t.Parallel()
	p := newTree(t)
	trail := func() string { _, body := p.call("GET", "/v1/trail/verification", ""); return body }
	before := trail()
	res, body := p.call("POST", "/v1/checks/preview", fallOfR1)
	f := got[CheckPreview](p, res, body, 200)
	if f.Found != "fail" || len(f.Deviations) != 1 || f.Deviations[0].ID != nil || f.Deviations[0].Instrument != "R-1" {
		t.Errorf("%s", body)
	}
	if len(f.Cascades) != 1 || f.Cascades[0].Below[0].Windows[0].Lots[0].Lot != "L-1" || *f.Cascades[0].Below[0].Windows[0].Lots[0].Quantity != "100" {
		t.Errorf("%s", body)
	}
	if after := trail(); before != after {
		t.Errorf("the trail was %s and is %s", before, after)
	}
	for _, path := range []string{"/v1/deviations", "/v1/holds", "/v1/cascades"} {
		if _, body := p.call("GET", path, ""); !strings.Contains(body, `"items":[]`) {
			t.Errorf("%s: %s", path, body)
		}
	}
	res, body = p.call("POST", "/v1/checks/preview", strings.ReplaceAll(fallOfR1, `"R-1"`, `"R-9"`))
	p.refused(res, body, 422, "unknown-instrument")
}

// The tree is seen, confirmed by somebody else, and only as it was seen.
func TestCascadeIsConfirmedOverTheInterface(t *testing.T) {
	t.Parallel()
	p := newTree(t)
	res, body := p.call("POST", "/v1/checks", fallOfR1)
	c := got[CheckedBody](p, res, body, 201)
	if len(c.Deviations) != 1 || len(c.Cascades) != 1 {
		t.Fatalf("%s", body)
	}
	var holds Page[HoldBody]
	if p.get("/v1/holds", &holds); len(holds.Items) != 1 || holds.Items[0].Deviation != nil || *holds.Items[0].Cascade != c.Cascades[0] {
		t.Errorf("%+v", holds)
	}
	path := "/v1/cascades/" + number(c.Cascades[0])
	var k CascadeBody
	seen := p.get(path, &k).Header.Get("ETag")
	if k.State != "pending" || k.Reference != "R-1" || k.Lots != 1 || len(k.StartedBy) != 1 || k.Tree.Below[0].Instrument != "T-1" || k.Caution == "" {
		t.Errorf("%+v", k)
	}
	var heads Page[DeviationHead]
	if p.get("/v1/deviations", &heads); len(heads.Items) != 1 || heads.Items[0].CascadePending == nil {
		t.Errorf("%+v", heads)
	}
	var d DeviationBody
	if p.get("/v1/deviations/"+number(heads.Items[0].ID), &d); d.CascadePending == nil || *d.CascadePending != k.ID {
		t.Errorf("the deviation does not say that a cascade pends")
	}

	res, body = p.call("POST", path+"/confirmation", "", "If-Match", seen)
	p.refused(res, body, 403, "human-signature-required")
	second := "Bearer " + p.enters("qa-2", p.joins("qa-2", disposition.QALead)).key
	res, body = p.call("POST", path+"/confirmation", "", "Authorization", second)
	p.refused(res, body, 428, "precondition-required")
	res, body = p.call("POST", path+"/confirmation", "", "Authorization", second, "If-Match", `"v1"`)
	p.refused(res, body, 412, "precondition-failed")

	p.posts("/v1/shipments", `{"shipment":"S-1","lot":"L-1","quantity":40,"quantity_unit":"kg","shipped_at":"2025-03-06T00:00:00Z","consignee":"a customer"}`)
	res, body = p.call("POST", path+"/confirmation", "", "Authorization", second, "If-Match", seen)
	old := p.refused(res, body, 409, "preview-outdated")
	if old.Cascade == nil || *old.Cascade.Tree.Below[0].Windows[0].Lots[0].Quantity != "60" {
		t.Fatalf("%s", body)
	}
	seen = `"` + old.Cascade.SHA256 + `"`
	for range 2 {
		res, body = p.call("POST", path+"/confirmation", "", "Authorization", second, "If-Match", seen)
		if k = got[CascadeBody](p, res, body, 200); k.State != "confirmed" || *k.ConfirmedBy != "qa-2" {
			t.Errorf("%s", body)
		}
	}
	if p.get("/v1/deviations", &heads); len(heads.Items) != 2 || heads.Items[0].CascadePending != nil {
		t.Errorf("%+v", heads)
	}
	if p.get("/v1/holds", &holds); len(holds.Items) != 1 || *holds.Items[0].Deviation != heads.Items[1].ID {
		t.Errorf("%+v", holds)
	}
	var none Page[CascadeHead]
	if p.get("/v1/cascades?state=pending", &none); len(none.Items) != 0 {
		t.Errorf("%+v", none)
	}
}

// Another plant sees no cascade and confirms none.
func TestCascadesOfAnotherPlantAreInvisible(t *testing.T) {
	t.Parallel()
	p := newTree(t)
	res, body := p.call("POST", "/v1/checks", fallOfR1)
	got[CheckedBody](p, res, body, 201)
	id, err := p.svc.Plant(context.Background(), "Oxlip Quay Dairy", "UTC", nil)
	p.must(err)
	stranger := *p
	stranger.scope = pg.Scope{Plant: id, By: actor.Actor{ID: "tester", Kind: actor.Person}}
	stranger.key = stranger.newKey("all", key.Scopes, time.Now().Add(time.Hour))
	if _, body := stranger.call("GET", "/v1/cascades", ""); !strings.Contains(body, `"items":[]`) {
		t.Errorf("%s", body)
	}
	var k CascadeBody
	seen := p.get("/v1/cascades/1", &k).Header.Get("ETag")
	res, body = stranger.call("GET", "/v1/cascades/1", "")
	stranger.refused(res, body, 404, "unknown-cascade")
	oneTime, err := p.svc.AddPerson(t.Context(), stranger.scope, person.Identity{Code: "qa-1", Name: "Person qa-1", Title: "Title"}, person.Grant{Role: disposition.QALead})
	p.must(err)
	p.must(p.svc.SetPassword(t.Context(), "Oxlip Quay Dairy", "qa-1", oneTime, phrase))
	token, _, err := p.svc.SignIn(t.Context(), "Oxlip Quay Dairy", "qa-1", phrase)
	p.must(err)
	res, body = stranger.call("POST", "/v1/cascades/1/confirmation", "", "If-Match", seen, "Authorization", "Bearer "+token)
	stranger.refused(res, body, 404, "unknown-cascade")
}
