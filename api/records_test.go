package api

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/actor"
	"lastgood/workflow/hold"
	"lastgood/workflow/key"
	"lastgood/workflow/pg"
)

// decidable is newCase with its holds counted and its findings evaluated, and the
// people who decide: a QA lead, two qualified persons, a verifier and a reviewer.
func decidable(t *testing.T) (p *plant, as func(code string) *plant) {
	t.Helper()
	p = newCase(t)
	ctx := context.Background()
	holds, err := p.svc.HoldsAfter(ctx, p.scope, 1, 0, 10)
	p.must(err)
	for _, h := range holds {
		_, err := p.svc.AcknowledgeHold(ctx, p.scope, hold.ID(h.ID), h.Version, unit.Quantity{Amount: "100", Unit: "kg"})
		p.must(err)
	}
	people := map[string]*plant{}
	for code, role := range map[string]disposition.Role{"lead": disposition.QALead, "pcqi": disposition.QualifiedPerson, "judge": disposition.QualifiedPerson,
		"second": disposition.Verifier, "reader": disposition.Reviewer} {
		people[code] = p.enters(code, p.joins(code, role))
	}
	var d DeviationBody
	p.get("/v1/deviations/1", &d)
	res, body := people["judge"].call("POST", "/v1/deviations/1/evaluation", "", "If-Match", etag(d.Version))
	if res.StatusCode != 200 {
		t.Fatal(body)
	}
	return p, func(code string) *plant { return people[code] }
}

const releaseL2 = `{"items":[{"lot":"L-2","disposition":"release","reason":"the limit was met after correction"}]}`

// proposed lets the lead propose the release of L-2 and returns its record.
func (p *plant) proposed(lead *plant) RecordHead {
	p.t.Helper()
	res, body := lead.call("POST", "/v1/deviations/1/dispositions", releaseL2)
	return got[Page[RecordHead]](p, res, body, 201).Items[0]
}

func signatureOf(role string, r RecordHead) string {
	return fmt.Sprintf(`{"role":%q,"records":[{"kind":%q,"id":%d,"sha256":%q}]}`, role, r.Kind, r.ID, r.SHA256)
}

// TestPortionsSayWhatMayBecomeOfThem: by pages, with what each may get and why.
func TestPortionsSayWhatMayBecomeOfThem(t *testing.T) {
	t.Parallel()
	p, _ := decidable(t)
	verdicts := map[string]string{}
	for path := "/v1/deviations/1/portions?limit=1"; path != ""; {
		var list Page[PortionStory]
		res := p.get(path, &list)
		for _, i := range list.Items {
			verdicts[i.Lot] = *i.Verdict
			release := i.Options[0]
			if release.Disposition != "release" || release.Allowed != (i.Lot == "L-2") || release.Why == "" || *i.Quantity != "100" || i.Portion != nil {
				t.Errorf("%+v", i)
			}
		}
		path = next(res.Header.Get("Link"))
	}
	if len(verdicts) != 2 || verdicts["L-1"] != "indeterminate" || verdicts["L-2"] != "met" {
		t.Error(verdicts)
	}
	res, body := p.call("POST", "/v1/deviations/1/portions", `{"lot":"L-2","portion":"p7","quantity":"40","quantity_unit":"kg","pallet":"7"}`, "Idempotency-Key", "s-1")
	if b := got[PortionBody](p, res, body, 201); *b.Portion != "p7" || *b.Pallet != "7" || b.State != "on_hold" {
		t.Errorf("%s", body)
	}
	again, same := p.call("POST", "/v1/deviations/1/portions", `{"lot":"L-2","portion":"p7","quantity":"40","quantity_unit":"kg","pallet":"7"}`, "Idempotency-Key", "s-1")
	if again.StatusCode != 201 || same != body {
		t.Errorf("%d %s", again.StatusCode, same)
	}
	res, body = p.call("POST", "/v1/deviations/1/portions", `{"lot":"L-2","portion":"p8","quantity":"4 x","quantity_unit":"kg","pallet":"8"}`)
	if doc := p.refused(res, body, 422, "not-a-quantity"); doc.Errors[0].Location != "body.quantity" {
		t.Error(body)
	}
	res, body = p.call("POST", "/v1/deviations/1/portions", `{"lot":"L-9","portion":"p8","quantity":"4","quantity_unit":"kg","pallet":"8"}`)
	if doc := p.refused(res, body, 404, "unknown-lot"); doc.Errors[0].Location != "body.lot" {
		t.Error(body)
	}
}

// TestProposalsAllOrNone: every wrong row is named, and none is written.
func TestProposalsAllOrNone(t *testing.T) {
	t.Parallel()
	p, as := decidable(t)
	const mixed = `{"items":[{"lot":"L-2","disposition":"release","reason":"met"},{"lot":"L-1","disposition":"release","reason":"it looks fine"},
		{"lot":"L-9","disposition":"release","reason":"met"}]}`
	res, body := as("lead").call("POST", "/v1/deviations/1/dispositions", mixed)
	doc := p.refused(res, body, 422, "rows-refused")
	if len(doc.Errors) != 2 || doc.Errors[0].Location != "body.items[1].disposition" || doc.Errors[0].Rule != "disposition-not-allowed" ||
		doc.Errors[1].Location != "body.items[2].lot" || doc.Errors[1].Rule != "unknown-lot" {
		t.Errorf("%+v", doc.Errors)
	}
	var records Page[RecordHead]
	if p.get("/v1/deviations/1/records", &records); len(records.Items) != 0 {
		t.Errorf("half of it was written: %+v", records)
	}
	res, body = p.call("POST", "/v1/deviations/1/dispositions", releaseL2) // a key with every scope there is
	p.refused(res, body, 403, "human-signature-required")
	res, body = as("judge").call("POST", "/v1/deviations/1/dispositions", releaseL2)
	p.refused(res, body, 403, "role-not-held")
	r := p.proposed(as("lead"))
	path := fmt.Sprintf("/v1/dispositions/%d", r.ID)
	var b DispositionBody
	if res := p.get(path, &b); b.Record == nil || b.Record.SHA256 != r.SHA256 || b.Execution != nil || b.Portion.Lot != "L-2" || res.Header.Get("ETag") != `"v1"` {
		t.Errorf("%+v", b)
	}
	res, body = p.call("POST", path+"/executions", `{"fate":"released","quantity":"100","quantity_unit":"kg","at":"2025-03-04T08:00:00Z","last":true}`)
	p.refused(res, body, 409, "missing-signature")
	res, body = as("lead").call("POST", path+"/withdrawal", `{"reason":" "}`)
	if doc := p.refused(res, body, 422, "reason-missing"); doc.Errors[0].Location != "body.reason" {
		t.Error(body)
	}
	res, body = as("lead").call("POST", path+"/withdrawal", `{"reason":"the log is looked for first"}`)
	if p.decode(res, body, &b); b.State != "withdrawn" || *b.Ended != "the log is looked for first" {
		t.Error(body)
	}
	res, body = as("lead").call("POST", "/v1/signatures", signatureOf("qa_lead", r))
	p.refused(res, body, 409, "not-standing")
}

// TestRecordIsTheBytesThatWereDigested, with its versions and who signed them.
func TestRecordIsTheBytesThatWereDigested(t *testing.T) {
	t.Parallel()
	p, as := decidable(t)
	r := p.proposed(as("lead"))
	if *r.WaitsFor != "qa_lead" || r.Complete || r.Reason != nil {
		t.Errorf("%+v", r)
	}
	var waiting Page[RecordHead]
	res, body := as("lead").call("GET", "/v1/signatures/waiting", "")
	if p.decode(res, body, &waiting); len(waiting.Items) != 1 || waiting.Items[0].SHA256 != r.SHA256 {
		t.Error(body)
	}
	res, body = as("pcqi").call("GET", "/v1/signatures/waiting", "")
	if p.decode(res, body, &waiting); len(waiting.Items) != 0 {
		t.Errorf("it is not their turn: %s", body)
	}
	sign := signatureOf("qa_lead", r)
	res, body = as("lead").call("POST", "/v1/signatures", sign, "Idempotency-Key", "n-1")
	if b := got[Page[RecordHead]](p, res, body, 201); b.Items[0].Seats[0].Signature.Name != "Person lead" || *b.Items[0].WaitsFor == "qa_lead" {
		t.Error(body)
	}
	if again, same := as("lead").call("POST", "/v1/signatures", sign, "Idempotency-Key", "n-1"); again.StatusCode != 201 || same != body {
		t.Errorf("%d %s", again.StatusCode, same)
	}
	res, body = as("lead").call("POST", "/v1/deviations/1/evidence", `{"lot":"L-2","kind":"product_test","name":"test 9","note":"none found"}`)
	got[EvidenceBody](p, res, body, 201)
	res, body = as("pcqi").call("POST", "/v1/signatures", signatureOf("qualified_person", r))
	p.refused(res, body, 409, "record-changed")

	var now RecordBody
	res = p.get(fmt.Sprintf("/v1/records/disposition/%d", r.ID), &now)
	digest := sha256.Sum256(now.Bytes)
	if now.SHA256 != hex.EncodeToString(digest[:]) || now.Version != 2 || res.Header.Get("ETag") != `"v2"` || now.Reason == nil {
		t.Errorf("%+v", now)
	}
	first := now.Earlier[0]
	if digest = sha256.Sum256(first.Bytes); len(now.Earlier) != 1 || hex.EncodeToString(digest[:]) != r.SHA256 || first.Says != "signed version 1; current version 2" ||
		len(first.Signatures) != 1 || first.Signatures[0].Person != "lead" {
		t.Errorf("%+v", now.Earlier)
	}
	var read map[string]any
	p.must(json.Unmarshal(now.Bytes, &read))
	if fmt.Sprint(read) != fmt.Sprint(now.Content) {
		t.Errorf("%v is not %v", now.Content, read)
	}
	var list Page[RecordHead]
	if p.get("/v1/deviations/1/records?limit=1", &list); len(list.Items) != 1 || list.NextCursor != nil || list.Items[0].Version != 2 {
		t.Errorf("%+v", list)
	}
	res, body = p.call("GET", "/v1/deviations/1/records?cursor="+base64.RawURLEncoding.EncodeToString([]byte("closing/9")), "")
	p.refused(res, body, 422, "bad-cursor")
	res, body = p.call("GET", "/v1/records/closing/1", "")
	p.refused(res, body, 404, "unknown-record")
}

// TestStepUp: a signature long after the password is answered with a challenge
// (RFC 9470, section 3), and goes through once the password was given again.
func TestStepUp(t *testing.T) {
	t.Parallel()
	p, as := decidable(t)
	r := p.proposed(as("lead"))
	p.behind(`update person_session set authenticated_at = authenticated_at - interval '16 minutes', started_at = started_at - interval '16 minutes'`)
	res, body := as("lead").call("POST", "/v1/signatures", signatureOf("qa_lead", r))
	p.refused(res, body, 401, "step-up-required")
	want := fmt.Sprintf(`error="insufficient_user_authentication", error_description="give the password once more", max_age="%d"`, workflow.SignsWithin/time.Second)
	if got := res.Header.Get("WWW-Authenticate"); !strings.HasPrefix(got, "Bearer ") || !strings.Contains(got, want) {
		t.Errorf("WWW-Authenticate: %s", got)
	}
	as("lead").answers("POST", "/v1/session/confirmation", fmt.Sprintf(`{"password":%q}`, phrase), 200)
	as("lead").answers("POST", "/v1/signatures", signatureOf("qa_lead", r), 201)
	res, body = as("lead").call("POST", "/v1/signatures", fmt.Sprintf(`{"role":"qualified_person","records":[{"kind":"disposition","id":%d,"sha256":%q},{"kind":"closing","id":1,"sha256":%q}]}`,
		r.ID, strings.Repeat("0", 64), strings.Repeat("0", 64)))
	doc := p.refused(res, body, 422, "rows-refused")
	if len(doc.Errors) != 2 || doc.Errors[0].Location != "body.records[0]" || doc.Errors[0].Rule != "record-changed" || doc.Errors[1].Rule != "unknown-record" {
		t.Errorf("%+v", doc.Errors)
	}
}

// TestEvidenceComesBack as it was attached, to be kept and never shown as a page.
func TestEvidenceComesBack(t *testing.T) {
	t.Parallel()
	p, as := decidable(t)
	paper := []byte("<script>a report</script>")
	attach := func(mediaType string, b []byte) string {
		return fmt.Sprintf(`{"lot":"L-1","kind":"qualified_evaluation","name":"report 3","media_type":%q,"bytes":%q}`, mediaType, base64.StdEncoding.EncodeToString(b))
	}
	res, body := as("lead").call("POST", "/v1/deviations/1/evidence", attach("text/html", paper))
	e := got[EvidenceBody](p, res, body, 201)
	digest := sha256.Sum256(paper)
	if *e.SHA256 != hex.EncodeToString(digest[:]) || !e.Whole || e.Means == "" || e.By != "lead" {
		t.Errorf("%+v", e)
	}
	res, body = p.call("GET", "/v1/evidence/"+*e.SHA256, "")
	if body != string(paper) || res.Header.Get("Content-Type") != "text/html" || !strings.HasPrefix(res.Header.Get("Content-Disposition"), "attachment; filename") ||
		res.Header.Get("X-Content-Type-Options") != "nosniff" {
		t.Errorf("%v %s", res.Header, body)
	}
	res, body = p.call("GET", "/v1/evidence/"+strings.Repeat("0", 64), "")
	p.refused(res, body, 404, "unknown-evidence")
	res, body = p.call("GET", "/v1/evidence/"+strings.Repeat("x", 64), "")
	p.refused(res, body, 422, "bad-digest")
	for _, c := range []struct {
		body   string
		status int
		rule   string
	}{
		{attach("", paper), 422, "media-type"}, {attach("no media type", paper), 422, "media-type"},
		{attach("text/plain", make([]byte, mostEvidence+1)), 413, "too-large"},
		{`{"lot":"L-1","kind":"qualified_evaluation","name":"report 3"}`, 422, "nothing-attached"},
		{`{"lot":"L-1","kind":"test_results","name":"report 3","note":"fine"}`, 422, "found-by-itself"},
		{`{"lot":"L-1","portion":"p9","kind":"qualified_evaluation","name":"report 3","note":"fine"}`, 404, "unknown-portion"},
	} {
		res, body := as("lead").call("POST", "/v1/deviations/1/evidence", c.body)
		p.refused(res, body, c.status, c.rule)
	}
	as("lead").answers("POST", "/v1/deviations/1/evidence", attach("application/octet-stream", make([]byte, mostEvidence)), 201)
}

// TestClosingSaysEverything that stands in its way, and the balance says where the
// product is.
func TestClosingSaysEverything(t *testing.T) {
	t.Parallel()
	p, as := decidable(t)
	var c ClosingBody
	p.get("/v1/deviations/1/closing", &c)
	res, body := as("lead").call("POST", "/v1/deviations/1/closing", "")
	doc := p.refused(res, body, 409, "not-closable")
	if len(doc.Reasons) != len(c.Reasons) || !slices.Equal(doc.Reasons, c.Reasons) {
		t.Errorf("%v\n%v", doc.Reasons, c.Reasons)
	}
	for _, code := range []string{"open_hold", "no_disposition", "transition-not-allowed"} {
		if !slices.ContainsFunc(c.Reasons, func(r ReasonBody) bool { return r.Code == code && r.Detail != "" && strings.HasPrefix(r.Link, "/v1/") }) {
			t.Errorf("no %s in %v", code, c.Reasons)
		}
	}
	var b Page[BalanceBody]
	if p.get("/v1/deviations/1/balance", &b); len(b.Items) != 2 || b.Items[0].Lot != "L-1" || *b.Items[0].InDoubt != "100" || b.Items[0].Undecided != "100" ||
		b.Items[0].Closing != "cannot_close" {
		t.Errorf("%+v", b)
	}
	res, body = as("lead").call("POST", "/v1/deviations/1/reopening", `{"trigger":"agency_asks","reason":"a letter"}`)
	p.refused(res, body, 409, "transition-not-allowed")
	res, body = as("lead").call("POST", "/v1/deviations/1/reopening", `{"trigger":"a whim","reason":"a letter"}`)
	if doc := p.refused(res, body, 422, "unknown-word"); doc.Errors[0].Location != "body.trigger" {
		t.Error(body)
	}
	res, body = as("lead").call("POST", "/v1/deviations/1/cancellation", `{"repeat":1,"reason":"a slip"}`)
	p.refused(res, body, 409, "transition-not-allowed")
	res, body = as("lead").call("POST", "/v1/holds/1/lifting", `{"reason":"it is fine"}`)
	p.refused(res, body, 409, "in-doubt")
	res, body = as("lead").call("POST", "/v1/holds/99/lifting", `{"reason":"it is fine"}`)
	p.refused(res, body, 404, "unknown-hold")
}

// TestDecisionsOfAnotherPlantAreInvisible, and texts that no database takes are the
// sender's fault.
func TestDecisionsOfAnotherPlantAreInvisible(t *testing.T) {
	t.Parallel()
	p, as := decidable(t)
	r := p.proposed(as("lead"))
	id, err := p.svc.Plant(context.Background(), "Oxlip Quay Dairy", "UTC", nil)
	p.must(err)
	stranger := *p
	stranger.scope = pg.Scope{Plant: id, By: actor.Actor{ID: "tester", Kind: actor.Person}}
	stranger.key = stranger.newKey("all", key.Scopes, time.Now().Add(time.Hour))
	for path, rule := range map[string]string{"/v1/deviations/1/portions": "unknown-deviation", "/v1/deviations/1/records": "unknown-deviation",
		"/v1/deviations/1/balance": "unknown-deviation", "/v1/deviations/1/closing": "unknown-deviation", fmt.Sprintf("/v1/dispositions/%d", r.ID): "unknown-disposition",
		fmt.Sprintf("/v1/records/disposition/%d", r.ID): "unknown-record"} {
		res, body := stranger.call("GET", path, "")
		stranger.refused(res, body, 404, rule)
	}
	const nul = `\u0000`
	for path, body := range map[string]string{
		"/v1/signatures":                `{"role":"` + nul + `","note":"` + nul + `","records":[{"kind":"disposition` + nul + `","id":1,"sha256":"` + strings.Repeat("0", 64) + `"}]}`,
		"/v1/deviations/1/dispositions": `{"items":[{"lot":"L-2","portion":"` + nul + `","disposition":"release","reason":"` + nul + `"},{"lot":"L-1","disposition":"destroy","reason":"` + nul + `"}]}`,
		"/v1/deviations/1/evidence":     `{"lot":"L-2","kind":"product_test","name":"a` + nul + `","note":"b` + nul + `"}`,
		"/v1/deviations/1/portions":     `{"lot":"L-2","portion":"p1","quantity":"1","quantity_unit":"kg","tag":"` + nul + `"}`,
		"/v1/holds/1/lifting":           `{"reason":"a` + nul + `"}`,
		"/v1/dispositions/1/withdrawal": `{"reason":"a` + nul + `"}`,
	} {
		if res, said := as("lead").call("POST", path, body); res.StatusCode < 400 || res.StatusCode >= 500 {
			t.Errorf("%s: %d %s", path, res.StatusCode, said)
		}
	}
}
