package api

import (
	"context"
	"net/http"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/workflow"
	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
)

// DeviationHead is a deviation in a list.
type DeviationHead struct {
	ID           int64   `json:"id"`
	Instrument   string  `json:"instrument"`
	State        string  `json:"state"`
	FailedAt     string  `json:"failed_at"`
	OpenedAt     string  `json:"opened_at"`
	RetraceDue   *string `json:"retrace_due" doc:"Since when something newer than the last run is known"`
	Holds        int     `json:"holds"`
	Acknowledged int     `json:"acknowledged"`
	Version      int     `json:"version"`
	// CascadePending is the most urgent thing to know of a deviation that has it.
	CascadePending *int64 `json:"cascade_pending" doc:"The cascade that the instrument is a part of and that waits for a second person; null: none"`
}

// DeviationBody is everything there is to know of a deviation: the result of its
// last run, or what is known before any.
type DeviationBody struct {
	ID         int64   `json:"id"`
	Version    int     `json:"version"`
	OpenedAt   string  `json:"opened_at"`
	RetraceDue *string `json:"retrace_due"`
	Run        int     `json:"run" doc:"0: not traced yet"`
	Caution    string  `json:"caution"`
	// CascadePending: windows will grow when it is confirmed.
	CascadePending *int64 `json:"cascade_pending" doc:"The cascade that the instrument is a part of and that waits for a second person; null: none"`
	exchange.DeviationResult
}

type deviationAnswer struct {
	ETag string `header:"ETag"`
	Body DeviationBody
}

// RunHead is a trace run in a list.
type RunHead struct {
	Run           int    `json:"run"`
	MadeAt        string `json:"made_at"`
	MadeBy        string `json:"made_by"`
	InputSHA256   []byte `json:"input_sha256"`
	PolicyVersion int    `json:"policy_version"`
	Method        string `json:"method"`
	Readings      int64  `json:"readings"`
}

// Change is what differs for one lot and limit between two runs. A null verdict:
// the run does not have it.
type Change struct {
	Lot    string  `json:"lot"`
	Limit  *string `json:"limit"`
	Before *string `json:"before"`
	After  *string `json:"after"`
}

// DeviationPath names a deviation.
type DeviationPath struct {
	ID int64 `path:"id" minimum:"1"`
}

// RunPath names a trace run of a deviation.
type RunPath struct {
	DeviationPath
	Run int `path:"run" minimum:"1" maximum:"2147483647"`
}

func (s *server) registerDeviations(api huma.API) {
	read := needs(key.DeviationsRead)
	huma.Register(api, huma.Operation{OperationID: "list-deviations", Method: http.MethodGet, Path: "/v1/deviations",
		Summary: "Deviations, in order of opening", Security: read}, handle(s, s.listDeviations))
	huma.Register(api, huma.Operation{OperationID: "get-deviation", Method: http.MethodGet, Path: "/v1/deviations/{id}",
		Summary: "A deviation: window, error, assessments, holds, shipped", Security: read}, handle(s, s.getDeviation))
	huma.Register(api, huma.Operation{OperationID: "trace-deviation", Method: http.MethodPost, Path: "/v1/deviations/{id}/trace",
		Summary: "Trace again, now", Security: needs(key.DeviationsWrite)}, handle(s, s.traceDeviation))
	huma.Register(api, huma.Operation{OperationID: "evaluate-deviation", Method: http.MethodPost, Path: "/v1/deviations/{id}/evaluation",
		Summary: "Begin the evaluation: a qualified person or QA; whoever begins it does not close the deviation", Security: needs(key.DeviationsWrite)}, handle(s, s.evaluateDeviation))
	huma.Register(api, huma.Operation{OperationID: "list-runs", Method: http.MethodGet, Path: "/v1/deviations/{id}/runs",
		Summary: "Every trace run", Security: read}, handle(s, s.listRuns))
	huma.Register(api, huma.Operation{OperationID: "get-run", Method: http.MethodGet, Path: "/v1/deviations/{id}/runs/{run}",
		Summary: "A trace run, as it was stored", Security: read}, handle(s, s.getRun))
	huma.Register(api, huma.Operation{OperationID: "compare-runs", Method: http.MethodGet, Path: "/v1/deviations/{id}/runs/{run}/changes",
		Summary: "What changed since another run", Security: read}, handle(s, s.compareRuns))
}

func (s *server) listDeviations(ctx context.Context, in *struct {
	Paging
	State string `query:"state" enum:"detected,contained,traced,evaluating,awaiting_results,disposition_proposed,disposition_signed,executing,verifying,closed,reopened,cancelled_in_error"`
}) (*listed[DeviationHead], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.DeviationsAfter(ctx, scope(ctx, ""), workflow.State(in.State), after, in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]DeviationHead, len(list))
	for i, d := range list {
		items[i] = DeviationHead{int64(d.ID), d.InstrumentCode, string(d.State), clock(d.FailedAt), clock(d.OpenedAt), clockOr(d.RetraceDue),
			d.Holds, d.Acknowledged, d.Version, (*int64)(d.CascadePending)}
	}
	q := map[string][]string{}
	if in.State != "" {
		q["state"] = []string{in.State}
	}
	return page(items, in.Paging, "/v1/deviations", q, func(d DeviationHead) string { return strconv.FormatInt(d.ID, 10) }), nil
}

func (s *server) getDeviation(ctx context.Context, in *DeviationPath) (*deviationAnswer, error) {
	return s.deviation(ctx, workflow.DeviationID(in.ID))
}

// deviation answers with a deviation as it stands.
func (s *server) deviation(ctx context.Context, id workflow.DeviationID) (*deviationAnswer, error) {
	rep, err := s.svc.Report(ctx, scope(ctx, ""), id)
	if err != nil {
		return nil, err
	}
	return &deviationAnswer{ETag: etag(rep.Deviation.Version), Body: deviationBody(rep)}, nil
}

func deviationBody(rep workflow.Report) DeviationBody {
	d := rep.Deviation
	return DeviationBody{ID: int64(d.ID), Version: d.Version, OpenedAt: clock(d.OpenedAt), RetraceDue: clockOr(d.RetraceDue), Run: rep.Run.Number,
		Caution: exchange.Caution, CascadePending: (*int64)(rep.CascadePending), DeviationResult: exchange.NewResult("", time.UTC, []workflow.Report{rep}).Deviations[0]}
}

func (s *server) traceDeviation(ctx context.Context, in *DeviationPath) (*deviationAnswer, error) {
	if _, err := s.svc.Trace(ctx, scope(ctx, ""), workflow.DeviationID(in.ID)); err != nil {
		return nil, err
	}
	return s.deviation(ctx, workflow.DeviationID(in.ID))
}

func (s *server) evaluateDeviation(ctx context.Context, in *struct {
	DeviationPath
	Seen
	Write
}) (*deviationAnswer, error) {
	if scope(ctx, "").By.Kind == actor.Key {
		return nil, fault.New(fault.Forbidden, "person-required", "a person begins an evaluation, never a key")
	}
	v, err := in.version()
	if err != nil {
		return nil, err
	}
	if _, err := s.svc.Evaluate(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), v); err != nil {
		return nil, err
	}
	return s.deviation(ctx, workflow.DeviationID(in.ID))
}

func (s *server) listRuns(ctx context.Context, in *DeviationPath) (*struct{ Body Page[RunHead] }, error) {
	list, err := s.svc.Runs(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	out := &struct{ Body Page[RunHead] }{Page[RunHead]{Items: []RunHead{}}}
	for _, r := range list {
		out.Body.Items = append(out.Body.Items, RunHead{r.Number, clock(r.MadeAt), r.MadeBy, r.InputDigest, r.PolicyVersion, r.Method, r.Readings})
	}
	return out, nil
}

func (s *server) getRun(ctx context.Context, in *RunPath) (*struct{ Body exchange.DeviationResult }, error) {
	run, err := s.svc.Run(ctx, scope(ctx, ""), workflow.DeviationID(in.ID), in.Run)
	if err != nil {
		return nil, err
	}
	r := exchange.NewResult("", time.UTC, []workflow.Report{{Run: run}})
	return &struct{ Body exchange.DeviationResult }{r.Deviations[0]}, nil
}

// changesAnswer is what differs between two runs.
type changesAnswer struct {
	Body struct {
		Run          int      `json:"run"`
		Since        int      `json:"since"`
		SameEvidence bool     `json:"same_evidence"`
		Changes      []Change `json:"changes"`
	}
}

func (s *server) compareRuns(ctx context.Context, in *struct {
	RunPath
	Since int `query:"since" minimum:"1" maximum:"2147483647" required:"true" doc:"The run to compare with"`
}) (*changesAnswer, error) {
	sc, id := scope(ctx, ""), workflow.DeviationID(in.ID)
	before, err := s.svc.Run(ctx, sc, id, in.Since)
	if err != nil {
		return nil, err
	}
	after, err := s.svc.Run(ctx, sc, id, in.Run)
	if err != nil {
		return nil, err
	}
	out := &changesAnswer{}
	out.Body.Run, out.Body.Since = in.Run, in.Since
	out.Body.SameEvidence = string(before.InputDigest) == string(after.InputDigest)
	out.Body.Changes = changes(before, after)
	return out, nil
}

// changes lists the lots and limits of which two runs say different things.
func changes(before, after workflow.Run) []Change {
	type pair struct{ lot, limit string }
	was := map[pair]string{}
	for _, a := range before.Assessments {
		was[pair{a.Lot, a.Limit}] = string(a.Result.Verdict)
	}
	out := []Change{}
	for _, a := range after.Assessments {
		p, v := pair{a.Lot, a.Limit}, string(a.Result.Verdict)
		old, there := was[p]
		delete(was, p)
		switch {
		case !there:
			out = append(out, Change{a.Lot, orNull(a.Limit), nil, &v})
		case old != v:
			out = append(out, Change{a.Lot, orNull(a.Limit), &old, &v})
		}
	}
	for _, a := range before.Assessments {
		if v, gone := was[pair{a.Lot, a.Limit}]; gone {
			out = append(out, Change{a.Lot, orNull(a.Limit), &v, nil})
		}
	}
	return out
}

func orNull(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
