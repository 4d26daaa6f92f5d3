package api

import (
	"bytes"
	"context"
	"strings"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"lastgood/api/exchange"
	"lastgood/policy/unit"
	"lastgood/workflow/actor"
	"lastgood/workflow/instrument"
	"lastgood/workflow/key"
	"lastgood/workflow/pg"
)

// read parses an answer that must be good.
func read[T any](p *plant, method, path, body string, headers ...string) (v T) {
	p.t.Helper()
	res, answer := p.call(method, path, body, headers...)
	if res.StatusCode != 200 {
		p.t.Fatalf("%s %s: %d %s", method, path, res.StatusCode, answer)
	}
	if err := json.Unmarshal([]byte(answer), &v); err != nil {
		p.t.Fatalf("%s %s: %v\n%s", method, path, err, answer)
	}
	return v
}

// TestDrillOverHTTP: the failure that the case's deviation is of, supposed: its
// answer has the form and the content of the deviation's.
func TestDrillOverHTTP(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	before := read[Page[DeviationHead]](p, "GET", "/v1/deviations", "")
	was := read[DeviationBody](p, "GET", "/v1/deviations/1", "").DeviationResult
	for _, body := range []string{
		`{"instrument":"T-1","at":"2025-03-04T06:00:00Z","unit":"F","error":2}`,
		`{"instrument":"T-1","at":"2025-03-04T07:00:00+01:00","unit":"FAH","error":"2.0"}`,
		`{"instrument":"T-1","at":"2025-03-04T06:00:00Z","unit":"F","points":[{"at":34,"error":2,"uncertainty":0.2},{"at":"162","error":2.0}]}`,
	} {
		d := read[exchange.DrillResult](p, "POST", "/v1/drills", body)
		if d.Drill != "DRILL: nothing was recorded, held or routed" || d.Caution != exchange.Caution || len(d.Deviations) != 1 {
			t.Fatalf("%s: %+v", body, d)
		}
		same := cmp.Options{cmpopts.IgnoreFields(exchange.DeviationResult{}, "State", "OpenedBy"),
			cmpopts.IgnoreFields(exchange.ErrorPoint{}, "Basis"), cmpopts.EquateApprox(0, 1e-9)}
		if diff := cmp.Diff(was, d.Deviations[0], same); diff != "" {
			t.Errorf("%s:\n%s", body, diff)
		}
		if d.Deviations[0].State != "supposed" {
			t.Errorf("the state is %s", d.Deviations[0].State)
		}
		want := exchange.DrillTotals{Instruments: 1, Readings: 2, Lots: 2, Verdicts: exchange.VerdictCounts{Indeterminate: 1, Met: 1},
			InControl: exchange.StockResult{Lots: 2, Quantities: []exchange.QuantityResult{{Quantity: "200", QuantityUnit: "kg"}}},
			Shipped:   exchange.StockResult{Quantities: []exchange.QuantityResult{}}, Consignees: []string{}}
		if diff := cmp.Diff(want, d.Totals, cmpopts.IgnoreFields(exchange.DrillTotals{}, "TookSeconds")); diff != "" {
			t.Errorf("%s:\n%s", body, diff)
		}
	}
	if lost := read[exchange.DrillResult](p, "POST", "/v1/drills", `{"instrument":"T-1"}`); lost.Totals.Verdicts.Unknown != 2 {
		t.Errorf("lost: %+v", lost.Totals)
	}
	if diff := cmp.Diff(before, read[Page[DeviationHead]](p, "GET", "/v1/deviations", "")); diff != "" {
		t.Errorf("the drills changed something: %s", diff)
	}
}

func TestWhatADrillRefuses(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	for body, rule := range map[string]string{
		`{"instrument":"T-9"}`:                                                           "unknown-instrument",
		`{"instrument":"T-1","error":2}`:                                                 "unit-required",
		`{"instrument":"T-1","unit":"R","error":2}`:                                      "invalid",
		`{"instrument":"T-1","unit":"F","error":0.5}`:                                    "passes",
		`{"instrument":"T-1","unit":"F","error":2,"points":[{"at":1,"error":2}]}`:        "points-or-error",
		`{"instrument":"T-1","at":"2025-03-04T06:00:00","unit":"F","error":2}`:           "invalid",
		`{"instrument":"T-1","at":"1889-03-04T06:00:00Z","unit":"F","error":2}`:          "out-of-range",
		`{"instrument":"T-1","unit":"F","error":1e400}`:                                  "bad-request",
		`{"instrument":"T-1","unit":"F","error":"warm"}`:                                 "invalid",
		`{"instrument":"T-1","unit":"F","points":[{"at":1,"error":2,"uncertainty":-1}]}`: "out-of-range",
		`{"error":2}`: "invalid", `{`: "bad-request", `[]`: "invalid",
	} {
		res, answer := p.call("POST", "/v1/drills", body)
		var doc Problem
		if err := json.Unmarshal([]byte(answer), &doc); err != nil || res.StatusCode < 400 || res.StatusCode > 422 || doc.Rule != rule {
			t.Errorf("%s: %d %s", body, res.StatusCode, answer)
		}
	}
}

// papers is the case with an instrument that is due.
func papers(t *testing.T) *plant {
	t.Helper()
	p := newCase(t)
	week, since := 7, march(1, 0)
	_, err := p.svc.AddInstruments(context.Background(), p.scope, []instrument.Instrument{
		{Code: "D-1", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree, CheckEveryDays: &week, InServiceFrom: &since},
		{Code: "D-2", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree, CheckEveryDays: &week},
		{Code: "D/3 °", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree, CheckEveryDays: &week, InServiceFrom: &since}})
	p.must(err)
	return p
}

func TestDueChecksByPages(t *testing.T) {
	t.Parallel()
	p := papers(t)
	var got []string
	for path := "/v1/checks/due?limit=2"; path != ""; {
		list := read[Page[DueBody]](p, "GET", path, "")
		for _, d := range list.Items {
			got = append(got, d.Instrument)
			if !d.NeverChecked || !d.Overdue || d.CheckEveryDays != 7 || (d.DueOn == nil) != (d.Instrument == "D-2") {
				t.Errorf("%+v", d)
			}
		}
		path = ""
		if list.NextCursor != nil {
			path = "/v1/checks/due?limit=2&cursor=" + *list.NextCursor
		}
	}
	if diff := cmp.Diff([]string{"D-2", "D-1", "D/3 °"}, got); diff != "" {
		t.Error(diff)
	}
}

func TestIntervalsOverHTTP(t *testing.T) {
	t.Parallel()
	p := papers(t)
	b := read[IntervalsBody](p, "GET", "/v1/instruments/T-1/intervals?most_lots=1", "")
	if b.Record.Lots != 2 || b.Record.Readings != 2 || len(b.History.Checks) != 2 || b.History.Checks[1].Found != "fail" ||
		b.Candidates[0].Days != 1 || b.Candidates[0].Lots != nil || b.Suggestion.Advice == "" || b.Stated || b.PresentDays != 2 {
		t.Errorf("%+v", b)
	}
	res, answer := p.call("GET", "/v1/instruments/T-1/intervals?reliability=1", "")
	p.refused(res, answer, 422, "invalid")
}

func TestPapersOverHTTP(t *testing.T) {
	t.Parallel()
	p := papers(t)
	f := read[CheckFormBody](p, "GET", "/v1/instruments/T-1/check-form", "")
	// It failed at 32 F and 160 F, and has to pass at both to come back.
	if len(f.Points) != 2 || f.Points[1].Point != "comparison" || f.Points[1].Expected != 160*unit.PerDegree || f.Tolerance != unit.PerDegree ||
		*f.Points[1].LastGoodAt != clock(march(2, 6)) || len(f.Limits) != 1 {
		t.Errorf("%+v", f)
	}
	for _, path := range []string{"/v1/instruments/T-1/check-form.pdf", "/v1/instruments/T-1/label.pdf", "/v1/instruments/D%2F3%20%C2%B0/label.pdf"} {
		res, body := p.call("GET", path, "", "Accept", "application/pdf")
		if res.StatusCode != 200 || res.Header.Get("Content-Type") != "application/pdf" || !strings.HasPrefix(body, "%PDF-") ||
			!strings.HasPrefix(res.Header.Get("Content-Disposition"), "inline; filename") {
			t.Errorf("%s: %d %v", path, res.StatusCode, res.Header)
		}
		if path != "/v1/instruments/T-1/check-form.pdf" { // bears the time of its making
			if _, again := p.call("GET", path, ""); !bytes.Equal([]byte(body), []byte(again)) {
				t.Errorf("%s: two of one check differ", path)
			}
		}
	}
}

// TestPapersOfOthers: a key of another plant learns nothing of an instrument.
func TestPapersOfOthers(t *testing.T) {
	t.Parallel()
	p := papers(t)
	id, err := p.svc.Plant(context.Background(), "Oxlip Quay Dairy", "UTC", nil)
	p.must(err)
	stranger := *p
	stranger.scope = pg.Scope{Plant: id, By: actor.Actor{ID: "tester", Kind: actor.Person}}
	stranger.key = stranger.newKey("all", key.Scopes, time.Now().Add(time.Hour))
	_, err = p.svc.PutPolicy(context.Background(), stranger.scope, []byte("limits: [{limit: a, kind: at_least, temperature: 160 F}]\n"))
	p.must(err)
	for _, path := range []string{"intervals", "check-form", "check-form.pdf", "label.pdf"} {
		res, body := stranger.call("GET", "/v1/instruments/T-1/"+path, "")
		stranger.refused(res, body, 404, "unknown-instrument")
	}
	res, body := stranger.call("POST", "/v1/drills", `{"instrument":"T-1"}`)
	stranger.refused(res, body, 404, "unknown-instrument")
	if list := read[Page[DueBody]](&stranger, "GET", "/v1/checks/due", ""); len(list.Items) != 0 {
		t.Errorf("%+v", list)
	}
}
