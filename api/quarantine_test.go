package api

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"lastgood/workflow/key"
)

type heldItem struct {
	ID         int64   `json:"id"`
	Value      float64 `json:"value"`
	Unit       string  `json:"unit"`
	Resolution *struct {
		Verdict string `json:"verdict"`
	} `json:"resolution"`
}

func (p *plant) held(query string) []heldItem {
	p.t.Helper()
	res, body := p.call("GET", "/v1/readings/quarantine"+query, "")
	return got[Page[heldItem]](p, res, body, 200).Items
}

// TestUploadQuarantines: rows that cannot be believed are stored apart and named
// row by row; the same rows again are duplicates, by the same sender and another.
func TestUploadQuarantines(t *testing.T) {
	t.Parallel()
	p := newKitchen(t)
	text := csvHead + "T-1,2025-03-03T10:00:00Z,161.5,F,L-1,cook-core,\nT-1,2025-03-03T10:01:00Z,344.2,F,L-1,cook-core,\n" +
		"T-1,2025-03-03T10:02:00Z,71.2,F,L-1,cook-core,\nT-1,2025-03-03T10:03:00Z,161.7,F,L-1,cook-core,\n"
	res, body := p.uploads("a", commaSeparated, text)
	u := got[UploadBody](p, res, body, 200)
	if u.AcceptedRows != 2 || fmt.Sprint(u.Accepted) != "[[2 2] [5 5]]" || len(u.Quarantined) != 2 || len(u.Refused) != 0 || u.LastCommittedLine != 5 {
		t.Fatalf("%s", body)
	}
	if q := u.Quarantined[1]; q.Line != 4 || q.Rule != "unit-mix-up" || q.Field != "value" || !strings.Contains(q.Detail, "71.2 F") || !strings.Contains(q.Detail, "71.2 C") {
		t.Errorf("%+v", q)
	}
	if n := p.stored(); n != 2 {
		t.Errorf("%d readings are stored, want 2", n)
	}
	if again := got2(p, "a", text); fmt.Sprint(again) != fmt.Sprint(u) {
		t.Errorf("the same batch again: %+v", again)
	}
	if other := got2(p, "b", text); fmt.Sprint(other.Duplicates) != "[[2 5]]" || len(other.Quarantined) != 0 {
		t.Errorf("the same rows in another batch: %+v", other)
	}
	if list := p.held("?instrument=T-1&open=true"); len(list) != 2 || list[1].Value != 71.2 || list[1].Unit != "F" || list[1].Resolution != nil {
		t.Errorf("%+v", list)
	}
	if list := p.held("?instrument=T-2"); len(list) != 0 {
		t.Errorf("of another instrument: %+v", list)
	}
}

func got2(p *plant, batch, text string) UploadBody {
	p.t.Helper()
	res, body := p.uploads(batch, commaSeparated, text)
	return got[UploadBody](p, res, body, 200)
}

// TestResolution: a person accepts a reading as it is, with a reason, once.
func TestResolution(t *testing.T) {
	t.Parallel()
	p := newKitchen(t)
	got2(p, "a", csvHead+"T-1,2025-03-03T10:01:00Z,71.2,F,L-1,cook-core,\nT-1,2025-03-03T10:02:00Z,72.20,F,L-1,cook-core,\n")
	list := p.held("?limit=1")
	path := fmt.Sprintf("/v1/readings/quarantine/%d/resolution", list[0].ID)
	for body, at := range map[string]string{`{"verdict":"maybe","reason":"x","decided_by":"y"}`: "verdict", `{"verdict":"accepted","reason":"","decided_by":"y"}`: "reason",
		`{"verdict":"accepted","reason":"x","decided_by":""}`: "decided_by"} {
		if res, text := p.call("POST", path, body); res.StatusCode != 422 || !strings.Contains(text, at) {
			t.Errorf("%s: %d %s", body, res.StatusCode, text)
		}
	}
	say := `{"verdict":"accepted","reason":"the oven door stood open","decided_by":"qa-7"}`
	res, body := p.call("POST", path, say, "Idempotency-Key", "k-1")
	if h := got[heldItem](p, res, body, 200); h.Resolution == nil || h.Resolution.Verdict != "accepted" {
		t.Errorf("%s", body)
	}
	res, again := p.call("POST", path, say, "Idempotency-Key", "k-1")
	if res.StatusCode != 200 || again != body {
		t.Errorf("the same again: %d %s", res.StatusCode, again)
	}
	res, body = p.call("POST", path, say)
	p.refused(res, body, 409, "already-resolved")
	res, body = p.call("POST", "/v1/readings/quarantine/999/resolution", say)
	p.refused(res, body, 404, "unknown-reading")
	if n := p.stored(); n != 1 {
		t.Errorf("%d readings are stored, want 1", n)
	}
	if open := p.held("?open=true"); len(open) != 1 {
		t.Errorf("open: %+v", open)
	}
}

// TestLocalTimesAreRefused: a time without an offset is refused, and where the
// site's clocks are known the answer says what is wrong with it: it was twice
// (design notes on the procedure, X16) or never (X17). The nights are those of
// America/Chicago in 2025, by the IANA database.
func TestLocalTimesAreRefused(t *testing.T) {
	t.Parallel()
	p := newPlant(t)
	ctx := context.Background()
	id, err := p.svc.Plant(ctx, "Harrowden Pantry", "America/Chicago", nil)
	p.must(err)
	p.scope.Plant = id
	_, err = p.svc.PutPolicy(ctx, p.scope, []byte("limits: [{limit: cook-core, kind: at_least, temperature: 160 F}]\n"))
	p.must(err)
	p.key = p.newKey("all", key.Scopes, time.Now().Add(time.Hour))
	p.posts("/v1/instruments", `{"instrument":"T-1","unit":"F","tolerance":1.0}`)
	u := got2(p, "a", csvHead+"T-1,2025-11-02T01:30:00,161.5,F,,,\nT-1,2025-03-09T02:30:00,161.5,F,,,\nT-1,2025-06-01T12:00:00,161.5,F,,,\nT-1,2025-11-02T01:30:00-06:00,161.5,F,,,\n")
	if len(u.Refused) != 3 || u.AcceptedRows != 1 {
		t.Fatalf("%+v", u)
	}
	for i, want := range []struct{ rule, says string }{
		{"ambiguous-local-time", "2025-11-02T01:30:00-05:00 or 2025-11-02T01:30:00-06:00"},
		{"nonexistent-local-time", "never was in America/Chicago"},
		{"offset-required", "2025-06-01T12:00:00-05:00"},
	} {
		if r := u.Refused[i]; r.Rule != want.rule || !strings.Contains(r.Detail, want.says) || r.Field != "taken_at" {
			t.Errorf("%+v, want %s", r, want.rule)
		}
	}
}

// TestClockOffsets: by how much a clock was wrong is recorded and listed, and
// readings are listed with both times.
func TestClockOffsets(t *testing.T) {
	t.Parallel()
	p := newKitchen(t)
	got2(p, "a", csvHead+"T-1,2025-03-03T10:00:00Z,161.5,F,L-1,cook-core,\nT-1,2025-03-05T10:00:00Z,161.5,F,L-1,cook-core,\n")
	p.posts("/v1/clock_offsets", `{"instrument":"T-1","from":"2025-03-01T00:00:00Z","to":"2025-03-04T00:00:00Z","offset_s":-90.5,"note":"slow"},`+
		`{"instrument":"T-1","from":"2025-03-06T00:00:00Z","bound_s":"300"}`)
	res, body := p.call("GET", "/v1/clock_offsets?instrument=T-1", "")
	if !strings.Contains(body, `"offset_s":-90.5`) || !strings.Contains(body, `"bound_s":300`) {
		t.Errorf("%d %s", res.StatusCode, body)
	}
	type item struct {
		TakenAt   string  `json:"taken_at"`
		ShiftedAt *string `json:"shifted_at"`
		Recorded  string  `json:"recorded_at"`
	}
	res, body = p.call("GET", "/v1/readings?instrument=T-1", "")
	list := got[Page[item]](p, res, body, 200).Items
	if len(list) != 2 || list[0].ShiftedAt == nil || *list[0].ShiftedAt != "2025-03-03T10:01:30.5Z" || list[0].TakenAt != "2025-03-03T10:00:00Z" || list[1].ShiftedAt != nil {
		t.Errorf("%s", body)
	}
	if at, err := time.Parse(time.RFC3339Nano, list[0].Recorded); err != nil || time.Since(at) > time.Hour {
		t.Errorf("recorded at %s", list[0].Recorded)
	}
	for text, rule := range map[string]string{
		`{"instrument":"T-1","from":"2025-03-09T00:00:00Z"}`:                                             "offset-or-bound",
		`{"instrument":"T-1","from":"2025-03-02T00:00:00Z","offset_s":1}`:                                "overlapping-clock-offset",
		`{"instrument":"T-1","from":"2025-03-09T00:00:00Z","to":"2025-03-08T00:00:00Z","offset_s":1}`:    "ends-before-it-begins",
		`{"instrument":"T-1","from":"2025-03-04T00:00:00Z","to":"2025-03-05T00:00:00Z","offset_s":1e3}`:  "not-a-number",
		`{"instrument":"T-1","from":"2025-03-04T00:00:00Z","to":"2025-03-05T00:00:00Z","bound_s":-1}`:    "out-of-range",
		`{"instrument":"T-1","from":"2025-03-04T00:00:00Z","to":"2025-03-05T00:00:00Z","offset_s":4e10}`: "not-a-number",
	} {
		res, body := p.call("POST", "/v1/clock_offsets", `{"items":[`+text+`]}`)
		if !strings.Contains(body, `"`+rule+`"`) || res.StatusCode/100 != 4 {
			t.Errorf("%s: %d %s, want %s", text, res.StatusCode, body, rule)
		}
	}
}
