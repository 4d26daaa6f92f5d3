package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/policy/document"
	"lastgood/workflow"
	"lastgood/workflow/key"
)

// TrialBody is what a policy would have decided otherwise.
type TrialBody struct {
	Caution      string            `json:"caution"`
	Tried        string            `json:"tried" doc:"What was tried and what was not"`
	Deviations   int               `json:"deviations" doc:"That were traced"`
	Assessments  int               `json:"assessments" doc:"Of the last run of each"`
	WithoutFacts int               `json:"without_facts" doc:"Of these, not tried: from runs that did not keep what the rules were asked"`
	Differing    int               `json:"differing" doc:"Of these, decided otherwise"`
	Differences  []TrialDifference `json:"differences" doc:"The first of them, as many as limit says"`
}

// TrialDifference is one lot under one limit.
type TrialDifference struct {
	Deviation     int64                   `json:"deviation"`
	Run           int                     `json:"run"`
	PolicyVersion int                     `json:"policy_version" doc:"That decided"`
	Instrument    string                  `json:"instrument"`
	Lot           string                  `json:"lot"`
	Limit         *string                 `json:"limit" doc:"null: no limit applies"`
	Verdict       string                  `json:"verdict"`
	What          []string                `json:"what" enum:"level,route,signers,deadlines"`
	Was           exchange.DecisionResult `json:"was"`
	Would         exchange.DecisionResult `json:"would"`
}

// tried says what a trial on the record can show.
const tried = "The rules, the severities and which kill steps there are, on the facts as they were recorded. " +
	"Limits are not evaluated again: verdicts stay, and a kill step that only this policy names clears nothing here."

func (s *server) registerPolicyTrial(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "try-policy", Method: http.MethodPost, Path: "/v1/policy/trial",
		Summary:  "What a policy would have decided otherwise on the last run of each deviation; nothing is recorded",
		Security: needs(key.DeviationsRead), MaxBodyBytes: s.MaxBody, DefaultStatus: http.StatusOK, RequestBody: yamlBody(),
	}, handle(s, s.tryPolicy))
}

func (s *server) tryPolicy(ctx context.Context, in *struct {
	policyInput
	Limit int `query:"limit" minimum:"1" maximum:"10000" default:"1000" doc:"How many differences to list"`
}) (*struct{ Body TrialBody }, error) {
	p, problems := document.Parse(in.RawBody)
	if len(problems) > 0 {
		return nil, policyRefused(problems, "nothing was tried")
	}
	t, err := s.svc.TryPolicy(ctx, scope(ctx, ""), p)
	if err != nil {
		return nil, err
	}
	out := TrialBody{Caution: exchange.Caution, Tried: tried, Deviations: t.Deviations, Assessments: t.Assessments,
		WithoutFacts: t.WithoutFacts, Differing: len(t.Differences), Differences: []TrialDifference{}}
	for i := range t.Differences[:min(in.Limit, len(t.Differences))] {
		out.Differences = append(out.Differences, trialDifference(&t.Differences[i]))
	}
	return &struct{ Body TrialBody }{out}, nil
}

func trialDifference(d *workflow.Difference) TrialDifference {
	a := &d.Assessment
	out := TrialDifference{Deviation: int64(d.Deviation), Run: d.Run, PolicyVersion: d.PolicyVersion, Instrument: d.Instrument,
		Lot: a.Lot, Verdict: string(a.Result.Verdict), What: d.What, Was: exchange.NewDecision(a.Outcome()), Would: exchange.NewDecision(d.Would)}
	if a.Limit != "" {
		out.Limit = &a.Limit
	}
	return out
}
