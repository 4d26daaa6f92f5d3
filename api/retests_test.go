package api

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/hold"
)

// reads an answer's body into a value.
func into[T any](p *plant, said string) (v T) {
	p.t.Helper()
	if err := json.Unmarshal([]byte(said), &v); err != nil {
		p.t.Fatalf("%v\n%s", err, said)
	}
	return v
}

// evaluated is newCase with people, contained and evaluated: a QA lead, a
// qualified person and a verifier are signed in.
func evaluated(t *testing.T) (p, qa, pcqi, verifier *plant) {
	t.Helper()
	p = newCase(t)
	qa = p.enters("qa-1", p.joins("qa-1", disposition.QALead))
	pcqi = p.enters("pcqi-1", p.joins("pcqi-1", disposition.QualifiedPerson))
	verifier = p.enters("verifier-1", p.joins("verifier-1", disposition.Verifier))
	ctx := context.Background()
	list, err := p.svc.HoldsAfter(ctx, p.scope, 1, 0, 10)
	p.must(err)
	for _, h := range list {
		_, err := p.svc.AcknowledgeHold(ctx, p.scope, hold.ID(h.ID), h.Version, unit.Quantity{Amount: "100", Unit: "kg"})
		p.must(err)
	}
	d, err := p.svc.Deviations(ctx, p.scope)
	p.must(err)
	pcqi.answersTo("POST", "/v1/deviations/1/evaluation", "", 200, "If-Match", fmt.Sprintf(`"v%d"`, d[0].Version))
	return p, qa, pcqi, verifier
}

func (p *plant) answersTo(method, path, body string, status int, headers ...string) string {
	p.t.Helper()
	res, said := p.call(method, path, body, headers...)
	if res.StatusCode != status {
		p.t.Fatalf("%s %s: %d, want %d\n%s", method, path, res.StatusCode, status, said)
	}
	return said
}

// signs lets somebody sign a record as it was shown.
func (p *plant) signsRecord(role disposition.Role, r RecordHead) {
	p.t.Helper()
	p.answersTo("POST", "/v1/signatures", fmt.Sprintf(`{"role":%q,"records":[{"kind":%q,"id":%d,"sha256":%q}]}`, role, r.Kind, r.ID, r.SHA256), 201)
}

const orderBody = `{"lot":"L-1","analyte":"Listeria monocytogenes","n":2,"m":0,"unit":"detected in 25 g","reach":"whole_lot",
	"laboratory":"an invented laboratory","custody_plan":"cooled, by the plant's driver","reason":"the verdict leaves it open"}`

func TestRetestOverHTTP(t *testing.T) {
	t.Parallel()
	p, qa, _, verifier := evaluated(t)
	res, said := p.call("POST", "/v1/deviations/1/retests", orderBody)
	p.refused(res, said, 403, "human-signature-required")
	res, said = verifier.call("POST", "/v1/deviations/1/retests", orderBody)
	p.refused(res, said, 403, "scope-missing")
	r := into[RetestBody](p, qa.answersTo("POST", "/v1/deviations/1/retests", orderBody, 201))
	if r.State != "ordered" || r.Plan.N != 2 || len(r.Proves.Points) == 0 || r.Proves.Clean < 0.77 || r.Proves.Clean > 0.78 { // 1 − √0.05: 2 clean samples at 95 %
		t.Errorf("%+v", r)
	}
	when := time.Now().Add(-time.Hour).UTC().Format(time.RFC3339)
	p.answersTo("POST", "/v1/retests/1/samples", fmt.Sprintf(`{"items":[{"sample":"S-1","drawn_at":%q,"drawn_by":"op-1","drawn_from":"pallet 1"},
		{"sample":"S-2","drawn_at":%q,"drawn_by":"op-1","drawn_from":"pallet 2"}]}`, when, when), 201)
	p.answersTo("POST", "/v1/retests/1/custody", fmt.Sprintf(`{"at":%q,"who":"driver-1","condition":"2 C, sealed"}`, when), 201)
	p.answersTo("POST", "/v1/retests/1/receipt", fmt.Sprintf(`{"at":%q,"who":"an invented laboratory","condition":"3 C, sealed","reference":"L-1"}`, when), 201)
	result := `{"lot":"L-1","sample":%q,"value":%d,"unit":"detected in 25 g","method":"ISO 11290-1","laboratory":"an invented laboratory","report":"R-1","tested_at":%q%s}`
	wrong := strings.Replace(fmt.Sprintf(result, "S-1", 0, when, ""), `"lot":"L-1"`, `"lot":"L-2"`, 1)
	res, said = p.call("POST", "/v1/retests/1/results", `{"items":[`+wrong+`]}`)
	p.refused(res, said, 422, "rows-refused")
	r = into[RetestBody](p, p.answersTo("POST", "/v1/retests/1/results", `{"items":[`+fmt.Sprintf(result, "S-1", 1, when, "")+`]}`, 201))
	if r.State != "decided" || r.Outcome.Decision != "reject" || r.Results[0].RecordedBy != "key all" {
		t.Errorf("%+v", r)
	}
	record := into[RecordHead](p, qa.answersTo("POST", "/v1/results/1/void", `{"reason":"the seal was broken"}`, 201))
	qa.signsRecord(disposition.QALead, record)
	verifier.signsRecord(disposition.Verifier, record)
	r = into[RetestBody](p, p.answersTo("GET", "/v1/retests/1", "", 200))
	if r.State != "in_laboratory" || r.Outcome.VoidedAbove != 1 || r.Results[0].VoidedFor == nil {
		t.Errorf("%+v", r)
	}
	p.answersTo("POST", "/v1/retests/1/results", `{"items":[`+fmt.Sprintf(result, "S-1", 0, when, "")+`,`+fmt.Sprintf(result, "S-2", 0, when, "")+`]}`, 201)
	fixed := fmt.Sprintf(result, "S-2", 1, when, `,"replaces":3,"reason":"two samples were mixed up"`)
	r = into[RetestBody](p, p.answersTo("POST", "/v1/retests/1/results", `{"items":[`+fixed+`]}`, 201))
	if r.Outcome.Decision != "reject" || r.Results[2].ReplacedBy == nil || *r.Results[2].ReplacedBy != r.Results[3].ID {
		t.Errorf("%+v", r.Results)
	}
	if list := into[Page[RetestBody]](p, p.answersTo("GET", "/v1/deviations/1/retests?limit=1", "", 200)); len(list.Items) != 1 || list.NextCursor != nil {
		t.Errorf("%+v", list)
	}
	if plans := into[Page[PlanBody]](p, p.answersTo("GET", "/v1/sampling-plans", "", 200)); len(plans.Items) < 15 {
		t.Errorf("%d plans", len(plans.Items))
	}
	res, said = qa.call("POST", "/v1/retests/1/cancellation", `{"reason":"it is inconvenient"}`)
	p.refused(res, said, 409, "transition-not-allowed")
}

func TestCorrectionOverHTTP(t *testing.T) {
	t.Parallel()
	p, qa, pcqi, verifier := evaluated(t)
	supervisor := p.enters("super-1", p.joins("super-1", disposition.LineSupervisor))
	tech := p.enters("tech-9", p.joins("tech-9", disposition.CalibrationTechnician))
	res, said := p.call("POST", "/v1/deviations/1/correction", `{"part":"cause","text":"worn"}`)
	p.refused(res, said, 403, "human-signature-required")
	c := into[CorrectionBody](p, supervisor.answersTo("POST", "/v1/deviations/1/correction", `{"part":"cause","text":"worn cable","plan_failed":true,
		"evidence":[{"name":"photo","media_type":"image/png","bytes":"aGVsbG8="}]}`, 201))
	if len(c.Parts) != 1 || len(c.Parts[0].Evidence) != 1 || c.Record != nil || c.Line.State != "in_control" {
		t.Errorf("%+v", c)
	}
	if body := p.answersTo("GET", "/v1/evidence/"+c.Parts[0].Evidence[0].SHA256, "", 200); body != "hello" {
		t.Errorf("evidence %q", body)
	}
	line := into[LineBody](p, supervisor.answersTo("POST", "/v1/deviations/1/line", `{"event":"stop","at":"2025-03-04T07:00:00Z","note":"stopped"}`, 201))
	if line.State != "stopped" || len(line.Allowed) == 0 {
		t.Errorf("%+v", line)
	}
	res, said = supervisor.call("POST", "/v1/deviations/1/line", `{"event":"restore","at":"2025-03-04T08:00:00Z","instrument":"T-1","reading_at":"2025-03-04T07:30:00Z","note":"x"}`)
	p.refused(res, said, 409, "transition-not-allowed")

	plan := into[PlanStandingBody](p, p.answersTo("GET", "/v1/deviations/1/reanalysis", "", 200))
	if plan.State != "due" || len(plan.Reasons) == 0 {
		t.Errorf("%+v", plan)
	}
	record := into[RecordHead](p, pcqi.answersTo("POST", "/v1/deviations/1/reanalysis", `{"outcome":"the plan stays: the cable was not of the kind it names","plan_changes":false}`, 201))
	pcqi.signsRecord(disposition.QualifiedPerson, record)
	if plan = into[PlanStandingBody](p, p.answersTo("GET", "/v1/deviations/1/reanalysis", "", 200)); plan.State != "done" {
		t.Errorf("%+v", plan)
	}
	record = into[RecordHead](p, pcqi.answersTo("POST", "/v1/deviations/1/review", `{"note":"all records of the day"}`, 201))
	pcqi.signsRecord(disposition.QualifiedPerson, record)

	res, said = tech.call("POST", "/v1/instruments/T-1/return", `{"reason":"new cable"}`)
	p.refused(res, said, 409, "transition-not-allowed")
	p.checked(march(5, 6), 0)
	record = into[RecordHead](p, tech.answersTo("POST", "/v1/instruments/T-1/return", `{"reason":"new cable"}`, 201))
	tech.signsRecord(disposition.CalibrationTechnician, record)
	qa.signsRecord(disposition.QALead, record)
	if st := into[StandingBody](p, p.answersTo("GET", "/v1/instruments/T-1/standing", "", 200)); st.State != "returned_to_use" || len(st.Open) != 0 {
		t.Errorf("%+v", st)
	}
	res, said = verifier.call("POST", "/v1/deviations/1/correction/effectiveness", `{"effective":true,"text":"no drift","looked_at":"2025-03-05T07:00:00Z"}`)
	p.refused(res, said, 409, "no-preventive-measure")
	res, said = qa.call("POST", "/v1/instruments/T-1/loss", `{"reason":"gone"}`)
	p.refused(res, said, 409, "transition-not-allowed")
	if st := into[StandingBody](p, qa.answersTo("POST", "/v1/instruments/T-1/retirement", `{"reason":"after all"}`, 200)); st.State != "retired" {
		t.Errorf("%+v", st)
	}
	if c = into[CorrectionBody](p, p.answersTo("GET", "/v1/deviations/1/correction", "", 200)); c.Effectiveness != "not_asked" {
		t.Errorf("%+v", c)
	}
}
