package api

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
)

// What stands in the way of closing links to the review: it answers there.
func TestReviewSaysWhatIsDue(t *testing.T) {
	t.Parallel()
	p, _, pcqi, _ := evaluated(t)
	const path = "/v1/deviations/1/review"
	v := into[ReviewBody](p, p.answersTo("GET", path, "", 200))
	if v.DueOn == "" || v.DueAt == "" || v.Late || v.Record != nil || cmp.Diff([]string{"qualified_person"}, v.By) != "" {
		t.Errorf("%+v", v)
	}
	if len(v.Missing) != 1 || v.Missing[0].Code != "missing_signature" || v.Missing[0].Link != path || !strings.Contains(v.Missing[0].Detail, v.DueOn) {
		t.Errorf("%+v", v.Missing)
	}
	record := into[RecordHead](p, pcqi.answersTo("POST", path, `{"note":"all records of the day"}`, 201))
	if v = into[ReviewBody](p, p.answersTo("GET", path, "", 200)); v.Record == nil || v.Record.Complete || len(v.Missing) != 1 {
		t.Errorf("put up and not signed: %+v", v)
	}
	pcqi.signsRecord(disposition.QualifiedPerson, record)
	if v = into[ReviewBody](p, p.answersTo("GET", path, "", 200)); v.Record == nil || !v.Record.Complete || len(v.Missing) != 0 {
		t.Errorf("signed: %+v", v)
	}
	res, said := p.call("GET", "/v1/deviations/99/review", "")
	p.refused(res, said, 404, "unknown-deviation")
}

// A line that was never stopped is not restored, and the refusal says so.
func TestLineRefusalSaysWhatToDo(t *testing.T) {
	t.Parallel()
	p, _, _, _ := evaluated(t)
	supervisor := p.enters("super-1", p.joins("super-1", disposition.LineSupervisor))
	const restore = `{"event":"restore","at":"2025-03-04T08:00:00Z","instrument":"T-1","reading_at":"2025-03-04T07:30:00Z","note":"as planned"}`
	res, said := supervisor.call("POST", "/v1/deviations/1/line", restore)
	if doc := p.refused(res, said, 409, "transition-not-allowed"); doc.Detail != "the line was never recorded as stopped: record that first" {
		t.Errorf("%q", doc.Detail)
	}
	supervisor.answersTo("POST", "/v1/deviations/1/line", `{"event":"stop","at":"2025-03-04T07:00:00Z","note":"stopped"}`, 201)
	res, said = supervisor.call("POST", "/v1/deviations/1/line", restore)
	if doc := p.refused(res, said, 409, "transition-not-allowed"); !strings.Contains(doc.Detail, "T-1 may not be used: ") ||
		!strings.Contains(doc.Detail, "T-1 has no reading at 2025-03-04T07:30:00Z") {
		t.Errorf("%q", doc.Detail)
	}
}
