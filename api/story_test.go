package api

import (
	"bytes"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"testing"
)

// get reads an answer of 200 into dst and holds it to the contract.
func (p *plant) get(path string, dst any) *http.Response {
	p.t.Helper()
	res, body := p.call("GET", path, "")
	p.decode(res, body, dst)
	return res
}

func (p *plant) decode(res *http.Response, body string, dst any) {
	p.t.Helper()
	if res.StatusCode >= 300 {
		p.t.Fatalf("%s %s: %d %s", res.Request.Method, res.Request.URL, res.StatusCode, body)
	}
	if err := json.Unmarshal([]byte(body), dst); err != nil {
		p.t.Fatalf("%v: %s", err, body)
	}
	doc := contract()
	for _, op := range operations(doc) {
		if op.Method == res.Request.Method && matches(op.Path, res.Request.URL.Path) {
			conforms(p.t, doc, op, res, body)
			return
		}
	}
	p.t.Errorf("%s is not in the contract", res.Request.URL.Path)
}

// matches says whether a path is of a pattern.
func matches(pattern, path string) bool {
	a, b := strings.Split(pattern, "/"), strings.Split(path, "/")
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] && !strings.HasPrefix(a[i], "{") {
			return false
		}
	}
	return true
}

func TestDeviationTellsItsStory(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	var list Page[DeviationHead]
	p.get("/v1/deviations", &list)
	if len(list.Items) != 1 || list.Items[0].Instrument != "T-1" || list.Items[0].Holds != 2 || list.NextCursor != nil {
		t.Errorf("%+v", list)
	}
	p.get("/v1/deviations?state=evaluating", &list)
	if len(list.Items) != 0 {
		t.Errorf("nobody evaluates, yet: %+v", list)
	}
	var d DeviationBody
	res := p.get("/v1/deviations/1", &d)
	if res.Header.Get("ETag") != etag(d.Version) || d.Run != 1 || d.State != "detected" || len(d.Holds) != 2 || d.Caution == "" {
		t.Errorf("%s %+v", res.Header.Get("ETag"), d)
	}
	verdicts := map[string]string{}
	for _, a := range d.Assessments {
		verdicts[a.Lot] = a.Verdict
	}
	// 160 F less 2.2 F misses 160 F, less −0.2 F meets it; 168 F meets it either way.
	if verdicts["L-1"] != "indeterminate" || verdicts["L-2"] != "met" {
		t.Errorf("verdicts %v", verdicts)
	}
	res, body := p.call("POST", "/v1/deviations/1/evaluation", "", "If-Match", etag(d.Version))
	p.refused(res, body, 403, "person-required")
}

// TestAssessmentCanBeRecomputed: the numbers are plain arithmetic on what
// newCase recorded.
func TestAssessmentCanBeRecomputed(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	var b BasisBody
	p.get("/v1/deviations/1/assessment?lot=L-1&under=cook-core", &b)
	if !b.SameEvidence || b.Run != 1 || b.Assessment.Lot != "L-1" || len(b.Formulas) != 4 || len(b.Readings) != 1 {
		t.Fatalf("%+v", b)
	}
	r := b.Readings[0]
	for _, c := range []struct {
		what      string
		got       *float64
		want, tol float64
	}{
		{"value", &r.Value, 160, 0}, {"recorded", r.Recorded, 160, 0}, {"corrected", r.Corrected, 158, 0},
		{"worst", r.Worst, 157.8, 1e-6}, {"best", r.Best, 160.2, 1e-6},
		{"error_low", r.ErrorLow, -0.2 * 5 / 9, 1e-9}, {"error_found", r.ErrorFound, 2 * 5.0 / 9, 1e-9}, {"error_high", r.ErrorHigh, 2.2 * 5 / 9, 1e-9},
	} {
		if c.got == nil || *c.got < c.want-c.tol || *c.got > c.want+c.tol {
			t.Errorf("%s is %v, want %g", c.what, show(c.got), c.want)
		}
	}
	if r.Standing != "known" || r.Unit != "F" || r.TakenAt != "2025-03-03T10:00:00Z" {
		t.Errorf("%+v", r)
	}
	for _, lot := range []string{"L-9", "L-1"} { // no such lot; no such limit
		res, body := p.call("GET", "/v1/deviations/1/assessment?under=nothing&lot="+lot, "")
		p.refused(res, body, 404, "unknown-assessment")
	}
	p.reads("L-1", march(3, 12), 163)
	p.get("/v1/deviations/1/assessment?lot=L-1&under=cook-core&limit=1", &b)
	if b.SameEvidence || len(b.Readings) != 1 || b.NextCursor == nil {
		t.Errorf("a late reading is not seen: %+v", b)
	}
	p.get("/v1/deviations/1/assessment?lot=L-1&under=cook-core&limit=1&cursor="+*b.NextCursor, &b)
	if len(b.Readings) != 1 || b.Readings[0].Value != 163 || b.NextCursor != nil {
		t.Errorf("second page: %+v", b)
	}
}

func show(f *float64) string {
	if f == nil {
		return "null"
	}
	return fmt.Sprint(*f)
}

func TestRunsAreComparedAfterLateEvidence(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	p.reads("L-2", march(3, 12), 161)
	var d DeviationBody
	if p.get("/v1/deviations/1", &d); d.RetraceDue == nil {
		t.Error("a late reading makes no trace due")
	}
	res, body := p.call("POST", "/v1/deviations/1/trace", "")
	if p.decode(res, body, &d); d.Run != 2 || d.RetraceDue != nil {
		t.Errorf("run %d, due %v", d.Run, d.RetraceDue)
	}
	var runs Page[RunHead]
	if p.get("/v1/deviations/1/runs", &runs); len(runs.Items) != 2 || runs.Items[0].Run != 1 {
		t.Errorf("%+v", runs)
	}
	var first, second struct {
		Assessments []struct{ Lot, Verdict string }
	}
	p.get("/v1/deviations/1/runs/1", &first)
	p.get("/v1/deviations/1/runs/2", &second)
	if first.Assessments[1].Verdict != "met" || second.Assessments[1].Verdict != "indeterminate" {
		t.Errorf("first %+v, second %+v", first, second)
	}
	var c struct {
		SameEvidence bool `json:"same_evidence"`
		Changes      []Change
	}
	p.get("/v1/deviations/1/runs/2/changes?since=1", &c)
	if c.SameEvidence || len(c.Changes) != 1 || c.Changes[0].Lot != "L-2" || *c.Changes[0].Before != "met" || *c.Changes[0].After != "indeterminate" {
		t.Errorf("%+v", c)
	}
	res, body = p.call("GET", "/v1/deviations/1/runs/3/changes?since=1", "")
	p.refused(res, body, 404, "unknown-run")
}

func TestHoldsArePagedAndAcknowledged(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	var ids []int64
	for path := "/v1/holds?deviation=1&limit=1"; path != ""; {
		var list Page[HoldBody]
		res := p.get(path, &list)
		for _, h := range list.Items {
			ids = append(ids, h.ID)
		}
		path = next(res.Header.Get("Link"))
		if (path == "") != (list.NextCursor == nil) {
			t.Errorf("link %q with cursor %v", path, list.NextCursor)
		}
	}
	if len(ids) != 2 {
		t.Fatalf("holds %v", ids)
	}
	path := fmt.Sprintf("/v1/holds/%d/acknowledgement", ids[0])
	const all, less = `{"counted_quantity":"100","quantity_unit":"kg"}`, `{"counted_quantity":"90","quantity_unit":"kg"}`
	res, body := p.call("POST", path, `{"counted_quantity":"4","quantity_unit":"case"}`, "If-Match", `"v1"`)
	p.refused(res, body, 422, "unknown-unit")
	var h HoldBody
	res, body = p.call("POST", path, all, "If-Match", `"v1"`, "Idempotency-Key", `"k-1"`)
	if p.decode(res, body, &h); h.AcknowledgedAt == nil || *h.Counted != "100" || h.Short || res.Header.Get("ETag") != etag(h.Version) {
		t.Errorf("%+v", h)
	}
	again, same := p.call("POST", path, all, "If-Match", `"v1"`, "Idempotency-Key", "k-1") // bare is the same key
	if again.StatusCode != 200 || same != body || again.Header.Get("ETag") != res.Header.Get("ETag") {
		t.Errorf("the same request again: %d %s", again.StatusCode, same)
	}
	res, body = p.call("POST", path, less, "If-Match", `"v1"`, "Idempotency-Key", "k-1")
	p.refused(res, body, 422, "idempotency-key-reused")
	res, body = p.call("POST", path, less, "If-Match", `"v1"`)
	p.refused(res, body, 412, "precondition-failed")
	res, body = p.call("POST", fmt.Sprintf("/v1/holds/%d/acknowledgement", ids[1]), all, "If-Match", `"v1"`)
	p.decode(res, body, &h)
	var d DeviationBody
	if p.get("/v1/deviations/1", &d); d.State != "traced" {
		t.Errorf("every hold is acknowledged in full, and the deviation is %s", d.State)
	}
}

// next returns the path that a Link header says is next.
func next(link string) string {
	path, found := strings.CutSuffix(strings.TrimPrefix(link, "<"), `>; rel="next"`)
	if !found {
		return ""
	}
	return path
}

func TestTrailIsTheBytesThatWereHashed(t *testing.T) {
	t.Parallel()
	p := newCase(t)
	prev := make([]byte, sha256.Size)
	seq := int64(0)
	for path := "/v1/trail?stream=deviation/1&limit=2"; path != ""; {
		var list Page[TrailEntry]
		res := p.get(path, &list)
		for _, e := range list.Items {
			if want := sha256.Sum256(append([]byte{0}, e.Bytes...)); !bytes.Equal(e.Hash, want[:]) || !bytes.Equal(e.Prev, prev) || e.Seq != seq+1 {
				t.Errorf("entry %d does not follow: %+v", seq+1, e)
			}
			prev, seq = e.Hash, e.Seq
		}
		path = next(res.Header.Get("Link"))
	}
	if seq < 3 {
		t.Errorf("only %d entries", seq)
	}
	var s TrailState
	if p.get("/v1/trail/verification", &s); !s.Intact || s.Entries < int(seq) {
		t.Errorf("%+v", s)
	}
	p.behind(`alter table trail_entry disable trigger append_only;
		update trail_entry set body = convert_to(replace(convert_from(body, 'UTF8'), 'deviation.opened', 'deviation.closed'), 'UTF8')
		where stream = 'deviation/1' and seq = 1`)
	if p.get("/v1/trail/verification", &s); s.Intact || !strings.Contains(s.Wrong, "deviation/1 entry 1") {
		t.Errorf("an altered entry: %+v", s)
	}
}
