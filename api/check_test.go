package api

import (
	"fmt"
	"strings"
	"testing"
)

// checkText is a comparison of T-1 at 32 F and 160 F that found an error.
func checkText(at, found32, found160 string) string {
	return `{"instrument":"T-1","performed_at":"` + at + `","performed_by":"tech-1","verified_by":"tech-2","points":[
		{"point":"comparison","unit":"F","nominal":32,"reference_reading":32.0,"reference_uncertainty":0.2,"found":` + found32 + `},
		{"point":"comparison","unit":"F","nominal":160,"reference_reading":160.0,"reference_uncertainty":0.2,"found":` + found160 + `}]}`
}

// TestFailedCheckAnswersWithItsHolds: one call records the check, judges it,
// opens the deviation and answers with window, error and holds.
func TestFailedCheckAnswersWithItsHolds(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	p.posts("/v1/instruments", `{"instrument":"T-1","unit":"F","tolerance":1.0,"in_service_from":"2025-03-01T00:00:00Z"}`)
	p.posts("/v1/lots", `{"lot":"L-1","quantity":100,"quantity_unit":"kg"}`)
	res, body := p.call("POST", "/v1/checks", checkText("2025-03-02T06:00:00Z", "32.1", "160.1"))
	good := got[CheckedBody](p, res, body, 201)
	if good.Check.Found != "pass" || len(good.Deviations) != 0 {
		t.Errorf("a clear pass: %s", body)
	}
	res, body = p.uploads("b-1", commaSeparated, "instrument,taken_at,value,unit,lot,limit\nT-1,2025-03-03T10:00:00Z,161.0,F,L-1,cook-core\n")
	got[UploadBody](p, res, body, 200)

	failed := checkText("2025-03-04T06:00:00Z", "34.0", "162.0")
	for again, key := range []string{"c-1", "c-1", "c-2"} {
		res, body = p.call("POST", "/v1/checks", failed, "Idempotency-Key", key)
		c := got[CheckedBody](p, res, body, 201)
		if c.Check.Found != "fail" || len(c.Deviations) != 1 || c.Unchanged != (again == 2) {
			t.Fatalf("round %d: %s", again, body)
		}
		d := c.Deviations[0]
		if d.Opened != (again < 2) || d.Window.After == nil || *d.Window.After != "2025-03-02T06:00:00Z" || d.Window.Until != nil {
			t.Errorf("round %d: window %s", again, body)
		}
		if len(d.Error.Points) != 2 || len(d.Holds) != 1 || d.Holds[0].Lot != "L-1" || *d.Holds[0].Quantity != "100" {
			t.Errorf("round %d: %s", again, body)
		}
		if e := d.Error.Points[1].Found; e < 1.111 || e > 1.1112 { // 2 F is 2·5/9 K
			t.Errorf("error %v K", e)
		}
	}
	res, body = p.call("GET", "/v1/checks?instrument=T-1", "")
	if list := got[Page[CheckBody]](p, res, body, 200); len(list.Items) != 2 || *list.Items[1].Judged[1].FoundError < 1.11 {
		t.Errorf("%s", body)
	}
	res, body = p.call("GET", "/v1/checks/2", "")
	if c := got[CheckedBody](p, res, body, 200); len(c.Deviations) != 1 || c.Deviations[0].Opened {
		t.Errorf("%s", body)
	}
	res, body = p.call("GET", "/v1/checks/99", "")
	p.refused(res, body, 404, "unknown-check")
	res, body = p.call("GET", "/v1/lots/L-1", "")
	if l := got[LotStory](p, res, body, 200); len(l.Holds) != 1 || !l.InControl {
		t.Errorf("%s", body)
	}
	if res, body = p.call("GET", "/v1/instruments/T-1", ""); !strings.Contains(body, `"state":"suspended"`) {
		t.Errorf("%d %s", res.StatusCode, body)
	}
}

// TestCheckRefused: what is wrong with the one check is told at its place.
func TestCheckRefused(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	res, body := p.call("POST", "/v1/checks", checkText("2025-03-02T06:00:00Z", "32.1", "160.1"))
	p.refused(res, body, 422, "unknown-instrument")
	p.posts("/v1/instruments", `{"instrument":"T-1","unit":"F","tolerance":1.0}`)
	res, body = p.call("POST", "/v1/checks", checkText("2025-03-02T06:00:00Z", "32.1", "32"))
	doc := p.refused(res, body, 422, "swapped") // 128 F off, against a tolerance of 1 F
	if doc.Errors[0].Location != "body.points[1].found" {
		t.Errorf("%+v", doc.Errors)
	}
	res, body = p.call("POST", "/v1/checks", checkText("2025-03-02T06:00:00Z", "32.1", "160.1"))
	got[CheckedBody](p, res, body, 201)
	other := checkText("2025-03-02T06:00:00Z", "32.1", "160.1")
	res, body = p.call("POST", "/v1/checks", strings.Replace(other, `"tech-1"`, `"tech-9"`, 1))
	p.refused(res, body, 409, "conflict")
}

// TestAsFoundIsLockedOnceSaved: whoever has seen which product hangs on a check
// cannot change what it found (design notes on the procedure, X43). A repeat at
// another time is a check of its own, and all are kept (X36).
func TestAsFoundIsLockedOnceSaved(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	p.posts("/v1/instruments", `{"instrument":"T-1","unit":"F","tolerance":1.0}`)
	res, body := p.call("POST", "/v1/checks", checkText("2025-03-02T06:00:00Z", "32.1", "163.0"))
	got[CheckedBody](p, res, body, 201)
	res, body = p.call("POST", "/v1/checks", checkText("2025-03-02T06:00:00Z", "32.1", "160.1"))
	if doc := p.refused(res, body, 409, "as-found-locked"); doc.Errors[0].Location != "body.found" {
		t.Errorf("%+v", doc.Errors)
	}
	res, body = p.call("POST", "/v1/checks", checkText("2025-03-02T06:05:00Z", "32.1", "160.1"))
	got[CheckedBody](p, res, body, 201)
	res, body = p.call("GET", "/v1/checks?instrument=T-1", "")
	list := got[Page[struct {
		Found string `json:"found_verdict"`
	}]](p, res, body, 200)
	if len(list.Items) != 2 || list.Items[0].Found != "fail" || list.Items[1].Found != "pass" {
		t.Errorf("%s", body)
	}
}

// TestCheckKeepsRepeats: how often a point was read and how the readings spread
// is kept with the point, and half of it is refused.
func TestCheckKeepsRepeats(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	p.posts("/v1/instruments", `{"instrument":"T-1","unit":"F","tolerance":1.0}`)
	point := `{"point":"ice","unit":"F","found":32.1,%s}`
	check := `{"instrument":"T-1","performed_at":"2025-03-02T06:00:00Z","points":[` + point + `]}`
	res, body := p.call("POST", "/v1/checks", fmt.Sprintf(check, `"repeats":5`))
	if doc := p.refused(res, body, 422, "repeats-and-spread"); doc.Errors[0].Location != "body.points[0].spread" && doc.Errors[0].Location != "body.spread" {
		t.Errorf("%+v", doc.Errors)
	}
	res, body = p.call("POST", "/v1/checks", fmt.Sprintf(check, `"repeats":5,"spread":"0.15"`))
	got[map[string]any](p, res, body, 201)
	if !strings.Contains(body, `"repeats":5,"spread":0.15`) {
		t.Errorf("%s", body)
	}
	res, body = p.call("POST", "/v1/checks", fmt.Sprintf(check, `"repeats":5,"spread":0.15`))
	if again := got[map[string]any](p, res, body, 201); again["unchanged"] != true {
		t.Errorf("the same check again: %s", body)
	}
}

// TestHappeningsTogether: events and checks of an import are one transaction.
func TestHappeningsTogether(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	p.posts("/v1/instruments", `{"instrument":"T-1","unit":"F","tolerance":1.0}`)
	event := `{"instrument":"T-1","at":"2025-03-03T00:00:00Z","event":"adjusted"}`
	res, body := p.call("POST", "/v1/happenings", `{"events":[`+event+`],"checks":[{"instrument":"T-9","performed_at":"2025-03-02T06:00:00Z","outcome":"unusable"}]}`)
	doc := p.refused(res, body, 422, "rows-refused")
	if doc.Errors[0].Location != "body.checks[0].instrument" {
		t.Errorf("%+v", doc.Errors)
	}
	if _, body := p.call("GET", "/v1/events", ""); !strings.Contains(body, `"items":[]`) {
		t.Errorf("half of it was written: %s", body)
	}
	for again := range 2 {
		res, body = p.call("POST", "/v1/happenings", `{"events":[`+event+`],"checks":[`+checkText("2025-03-02T06:00:00Z", "32.1", "160.1")+`]}`)
		h := got[HappenedBody](p, res, body, 201)
		if h.Events.Accepted != 1-again || h.Checks.Accepted != 1-again || len(h.Opened) != 1-again { // nobody looked before it was adjusted
			t.Errorf("round %d: %s", again, body)
		}
	}
}
