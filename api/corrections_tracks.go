package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow"
	"lastgood/workflow/key"
)

// StandingBody is where an instrument stands since it last failed.
type StandingBody struct {
	Instrument string   `json:"instrument"`
	State      string   `json:"state" enum:"in_use,suspended,checked,adjusted,repaired,returned_to_use,retired,lost"`
	FailedAt   *string  `json:"failed_at" doc:"null: it never failed"`
	Check      *int64   `json:"check" doc:"The last one since then"`
	Open       []string `json:"open_points" doc:"Where one check has still to pass, as left, before it may go back into use"`
	Untrusted  *string  `json:"untrusted" doc:"Why the last check is worth nothing"`
	Allowed    []string `json:"allowed" doc:"What the procedure has from here"`
}

// PlanStandingBody is whether the plan is to be looked at again.
type PlanStandingBody struct {
	State   string          `json:"state" enum:"not_needed,due,done"`
	Reasons []string        `json:"reasons"`
	Written *ReanalysisBody `json:"written" doc:"null: nobody has"`
	Record  *RecordHead     `json:"record"`
}

// ReanalysisBody is what became of the plan.
type ReanalysisBody struct {
	Outcome string `json:"outcome" minLength:"1" maxLength:"10000"`
	Changes bool   `json:"plan_changes"`
	Version string `json:"plan_version,omitempty" maxLength:"100" doc:"As the plant calls it; left out: the plan stays"`
}

// ReviewBody is where the review of a deviation's records stands.
type ReviewBody struct {
	DueOn   string       `json:"due_on" format:"date" doc:"In the plant's zone"`
	DueAt   string       `json:"due_at"`
	Late    bool         `json:"late" doc:"It was not signed by then: whoever puts it up says why"`
	By      []string     `json:"by" doc:"The roles that may put it up and sign it"`
	Records int          `json:"records" doc:"That everyone has signed, and that are to be reviewed"`
	Record  *RecordHead  `json:"record" doc:"null: nobody has put it up"`
	Missing []ReasonBody `json:"missing" doc:"What of it stands in the way of closing; empty: nothing does"`
}

type standingAnswer struct{ Body StandingBody }

// registerCorrectionsOfOthers registers what is done about the instrument, the plan
// and the records.
func (s *server) registerCorrectionsOfOthers(api huma.API) {
	read, floor, decides := needs(key.DeviationsRead), needsPerson(recordsSign), needsPerson(key.DeviationsWrite)
	huma.Register(api, huma.Operation{OperationID: "get-instrument-standing", Method: http.MethodGet, Path: "/v1/instruments/{instrument}/standing",
		Summary: "Where an instrument stands since it last failed", Security: needs(key.FactsRead)}, handle(s, s.getStanding))
	huma.Register(api, huma.Operation{OperationID: "return-instrument", Method: http.MethodPost, Path: "/v1/instruments/{instrument}/return",
		Summary:       "Put up for signing that an instrument goes back into use, on one check that it passed, as left, where its limits need it and where it ends what was in doubt",
		DefaultStatus: http.StatusCreated, Security: floor}, handle(s, s.returnInstrument))
	huma.Register(api, huma.Operation{OperationID: "retire-instrument", Method: http.MethodPost, Path: "/v1/instruments/{instrument}/retirement",
		Summary: "Take an instrument out of use for good; its number is never used again", Security: floor}, handle(s, s.retireInstrument))
	huma.Register(api, huma.Operation{OperationID: "lose-instrument", Method: http.MethodPost, Path: "/v1/instruments/{instrument}/loss",
		Summary: "An instrument that failed cannot be found", Security: floor}, handle(s, s.loseInstrument))
	huma.Register(api, huma.Operation{OperationID: "get-reanalysis", Method: http.MethodGet, Path: "/v1/deviations/{id}/reanalysis",
		Summary: "Whether the plan is to be looked at again, and what came of it", Security: read}, handle(s, s.getReanalysis))
	huma.Register(api, huma.Operation{OperationID: "write-reanalysis", Method: http.MethodPost, Path: "/v1/deviations/{id}/reanalysis",
		Summary: "Write what became of the plan, for a qualified person to sign", DefaultStatus: http.StatusCreated, Security: decides}, handle(s, s.writeReanalysis))
	huma.Register(api, huma.Operation{OperationID: "get-record-review", Method: http.MethodGet, Path: "/v1/deviations/{id}/review",
		Summary: "Whether the records are reviewed, by when, and by whom they may be", Security: read}, handle(s, s.getReview))
	huma.Register(api, huma.Operation{OperationID: "review-records", Method: http.MethodPost, Path: "/v1/deviations/{id}/review",
		Summary: "Put the review of the records up for signing; a late one says why", DefaultStatus: http.StatusCreated, Security: decides}, handle(s, s.reviewRecords))
}

func (s *server) getStanding(ctx context.Context, in *InstrumentPath) (*standingAnswer, error) {
	return answerStanding(s.svc.InstrumentStanding(ctx, scope(ctx, ""), in.Instrument))
}

func answerStanding(st workflow.InstrumentStanding, err error) (*standingAnswer, error) {
	if err != nil {
		return nil, err
	}
	b := StandingBody{st.Instrument, string(st.State), clockOr(st.FailedAt), st.Check, append([]string{}, st.Open...), orNull(st.Untrusted), []string{}}
	for _, e := range st.Allowed {
		b.Allowed = append(b.Allowed, string(e))
	}
	return &standingAnswer{b}, nil
}

type instrumentReason struct {
	InstrumentPath
	Write
	Body WhyBody
}

func (s *server) returnInstrument(ctx context.Context, in *instrumentReason) (*toSign, error) {
	r, err := s.svc.AskToReturn(ctx, scope(ctx, in.IdempotencyKey), in.Instrument, in.Body.Reason)
	if err != nil {
		return nil, err
	}
	return &toSign{recordHead(r)}, nil
}

func (s *server) retireInstrument(ctx context.Context, in *instrumentReason) (*standingAnswer, error) {
	return answerStanding(s.svc.RetireInstrument(ctx, scope(ctx, in.IdempotencyKey), in.Instrument, in.Body.Reason))
}

func (s *server) loseInstrument(ctx context.Context, in *instrumentReason) (*standingAnswer, error) {
	return answerStanding(s.svc.LoseInstrument(ctx, scope(ctx, in.IdempotencyKey), in.Instrument, in.Body.Reason))
}

func (s *server) getReanalysis(ctx context.Context, in *DeviationPath) (*struct{ Body PlanStandingBody }, error) {
	p, err := s.svc.Reanalysis(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	b := PlanStandingBody{State: string(p.State), Reasons: append([]string{}, p.Reasons...)}
	if w := p.Written; w != nil {
		b.Written = &ReanalysisBody{w.Outcome, w.Changes, w.Version}
	}
	if p.Record != nil {
		h := recordHead(*p.Record)
		b.Record = &h
	}
	return &struct{ Body PlanStandingBody }{b}, nil
}

func (s *server) writeReanalysis(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body ReanalysisBody
}) (*toSign, error) {
	r, err := s.svc.WriteReanalysis(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), workflow.NewReanalysis(in.Body))
	if err != nil {
		return nil, err
	}
	return &toSign{recordHead(r)}, nil
}

func (s *server) getReview(ctx context.Context, in *DeviationPath) (*struct{ Body ReviewBody }, error) {
	r, err := s.svc.RecordReview(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	b := ReviewBody{DueOn: r.DueOn.Format(time.DateOnly), DueAt: clock(r.DueAt), Late: r.Late, By: []string{}, Records: r.Records, Missing: []ReasonBody{}}
	for _, role := range r.By {
		b.By = append(b.By, string(role))
	}
	for _, m := range r.Missing {
		b.Missing = append(b.Missing, ReasonBody(m))
	}
	if r.Record != nil {
		h := recordHead(*r.Record)
		b.Record = &h
	}
	return &struct{ Body ReviewBody }{b}, nil
}

func (s *server) reviewRecords(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Note string `json:"note" minLength:"1" maxLength:"10000" doc:"What was reviewed, and what was found"`
		Late string `json:"late_because,omitempty" maxLength:"5000" doc:"Of a review after its day"`
	}
}) (*toSign, error) {
	r, err := s.svc.ReviewRecords(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), in.Body.Note, in.Body.Late)
	if err != nil {
		return nil, err
	}
	return &toSign{recordHead(r)}, nil
}
