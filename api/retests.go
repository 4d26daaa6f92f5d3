package api

import (
	"context"
	"net/http"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/policy/sampling"
	"lastgood/workflow"
	"lastgood/workflow/key"
	"lastgood/workflow/retest"
)

// PlanBody is a sampling plan by attributes.
type PlanBody struct {
	ID         *string  `json:"id" doc:"null: a plan of the site's own"`
	Name       string   `json:"name"`
	N          int      `json:"n" doc:"Samples"`
	C          int      `json:"c" doc:"Of them so many may be above m"`
	Limit      *float64 `json:"m" doc:"null: it depends on the product and is set with the order"`
	Reject     *float64 `json:"M" doc:"None may be above it; null: two classes, or set with the order"`
	Classes    int      `json:"classes"`
	Unit       *string  `json:"unit"`
	Source     *string  `json:"source"`
	FromMemory bool     `json:"from_memory" doc:"Nobody had the source open: confirm it before citing"`
}

func planBody(p sampling.Plan) PlanBody {
	return PlanBody{orNull(p.ID), p.Name, p.N, p.C, p.Limit, p.Reject, p.Classes, orNull(p.Unit), orNull(p.Source), p.FromMemory}
}

// PromiseBody is what passing a plan would prove.
type PromiseBody struct {
	Confidence float64              `json:"confidence"`
	Clean      float64              `json:"allows_if_clean" doc:"The largest share of units above m that passing with no sample above m still allows"`
	AtMost     float64              `json:"allows_at_most" doc:"The same, with as many samples above m as may be"`
	Points     []CharacteristicBody `json:"operating_characteristic"`
}

// CharacteristicBody is a point of the operating characteristic of a large lot.
type CharacteristicBody struct {
	Defective float64 `json:"defective" doc:"Share of units above m, above M in three classes"`
	Passes    float64 `json:"passes" doc:"Chance that such a lot passes"`
}

// RetestBody is a re-test with all that became of it.
type RetestBody struct {
	ID         int64         `json:"id"`
	Deviation  int64         `json:"deviation"`
	Lot        string        `json:"lot"`
	Portion    string        `json:"portion" doc:"Empty: what no other portion names"`
	State      string        `json:"state" enum:"ordered,sampled,in_laboratory,reported,decided,cancelled"`
	Analyte    string        `json:"analyte"`
	Plan       PlanBody      `json:"plan"`
	Proves     PromiseBody   `json:"proves" doc:"What passing would prove"`
	Reach      string        `json:"reach"`
	Tagged     *string       `json:"tagged" doc:"The quantity that the result is limited to"`
	Units      int           `json:"units" doc:"That the samples speak for; 0: unknown or many"`
	Laboratory string        `json:"laboratory"`
	Custody    string        `json:"custody_plan"`
	Reason     string        `json:"reason"`
	OrderedAt  string        `json:"ordered_at"`
	OrderedBy  string        `json:"ordered_by"`
	Samples    []SampleBody  `json:"samples"`
	Chain      []CustodyBody `json:"custody"`
	Results    []ResultBody  `json:"results" doc:"In the order of recording; those that were replaced too"`
	Outcome    OutcomeBody   `json:"outcome"`
	Version    int           `json:"version"`
}

// SampleBody is a sample that was drawn.
type SampleBody struct {
	Sample string `json:"sample"`
	At     string `json:"drawn_at"`
	By     string `json:"drawn_by"`
	From   string `json:"drawn_from"`
}

// CustodyBody is a step of who had the samples.
type CustodyBody struct {
	Kind      string  `json:"kind" enum:"handed_over,received"`
	At        string  `json:"at"`
	Who       string  `json:"who"`
	Condition string  `json:"condition"`
	Reference *string `json:"reference" doc:"The laboratory's own"`
	By        string  `json:"recorded_by"`
}

// ResultBody is one sample's result as the laboratory reported it.
type ResultBody struct {
	ID         int64   `json:"id"`
	Sample     string  `json:"sample"`
	Bound      string  `json:"bound" doc:"<, > or empty"`
	Value      float64 `json:"value"`
	Unit       string  `json:"unit"`
	Method     string  `json:"method"`
	Laboratory string  `json:"laboratory"`
	Report     string  `json:"report"`
	TestedAt   string  `json:"tested_at"`
	Replaces   *int64  `json:"replaces"`
	Reason     *string `json:"reason" doc:"Why it replaces another"`
	ReplacedBy *int64  `json:"replaced_by" doc:"null: it stands"`
	VoidedFor  *string `json:"voided_for" doc:"null: it counts"`
	VoidedBy   *string `json:"voided_by"`
	RecordedAt string  `json:"recorded_at"`
	RecordedBy string  `json:"recorded_by"`
}

// OutcomeBody is what the plan makes of the results, and nobody's hand.
type OutcomeBody struct {
	Decision    string   `json:"decision" enum:"accept,reject,undecided"`
	Valid       int      `json:"valid"`
	Voided      int      `json:"voided"`
	Missing     int      `json:"missing"`
	AboveLimit  int      `json:"above_m"`
	AboveReject int      `json:"above_M"`
	Unclear     int      `json:"unclear"`
	VoidedAbove int      `json:"voided_above_m" doc:"Voided results that were above m"`
	LimitedTo   *string  `json:"limited_to" doc:"null: the whole lot or portion"`
	Allows      *float64 `json:"allows" doc:"The largest share of units above m that the results still allow; null: not accepted"`
	Confidence  float64  `json:"confidence"`
	Reason      string   `json:"reason"`
	Method      string   `json:"method"`
	Caution     string   `json:"caution"`
}

// testCaution stands beside every outcome.
const testCaution = "A test of product never shows by itself that a limit was met; it supports other evidence, or speaks against it."

type retestAnswer struct {
	ETag string `header:"ETag"`
	Body RetestBody
}

// RetestPath names a re-test.
type RetestPath struct {
	ID int64 `path:"id" minimum:"1"`
}

func (s *server) registerRetests(api huma.API) {
	read, person := needs(key.DeviationsRead), needsPerson(key.DeviationsWrite)
	// The floor draws samples and hands them over; laboratories report by a key.
	floor := append(needs(key.DeviationsWrite), needsPerson(key.ReadingsWrite)...)
	huma.Register(api, huma.Operation{OperationID: "list-sampling-plans", Method: http.MethodGet, Path: "/v1/sampling-plans",
		Summary: "Published sampling plans; none is in force by standing here", Security: read}, handle(s, s.listPlans))
	huma.Register(api, huma.Operation{OperationID: "list-retests", Method: http.MethodGet, Path: "/v1/deviations/{id}/retests",
		Summary: "Re-tests of a deviation", Security: read}, handle(s, s.listRetests))
	huma.Register(api, huma.Operation{OperationID: "get-retest", Method: http.MethodGet, Path: "/v1/retests/{id}",
		Summary: "A re-test: samples, custody, results, outcome, and what passing would prove", Security: read}, handle(s, s.getRetest))
	huma.Register(api, huma.Operation{OperationID: "order-retest", Method: http.MethodPost, Path: "/v1/deviations/{id}/retests",
		Summary: "Order a re-test of product on hold; the hold stays", DefaultStatus: http.StatusCreated, Security: person}, handle(s, s.orderRetest))
	huma.Register(api, huma.Operation{OperationID: "draw-samples", Method: http.MethodPost, Path: "/v1/retests/{id}/samples",
		Summary: "Samples were drawn", DefaultStatus: http.StatusCreated, Security: floor}, handle(s, s.drawSamples))
	huma.Register(api, huma.Operation{OperationID: "hand-over-samples", Method: http.MethodPost, Path: "/v1/retests/{id}/custody",
		Summary: "Somebody else has the samples", DefaultStatus: http.StatusCreated, Security: floor}, handle(s, s.handOver))
	huma.Register(api, huma.Operation{OperationID: "receive-samples", Method: http.MethodPost, Path: "/v1/retests/{id}/receipt",
		Summary: "The laboratory has received the samples", DefaultStatus: http.StatusCreated, Security: floor}, handle(s, s.receiveSamples))
	huma.Register(api, huma.Operation{OperationID: "report-results", Method: http.MethodPost, Path: "/v1/retests/{id}/results",
		Summary:       "Results, all of them or none; a correction replaces another and is never an edit",
		DefaultStatus: http.StatusCreated, Security: needs(key.DeviationsWrite), MaxBodyBytes: s.MaxBody}, handle(s, s.reportResults))
	huma.Register(api, huma.Operation{OperationID: "void-result", Method: http.MethodPost, Path: "/v1/results/{id}/void",
		Summary: "Put up for signing that a result does not count", DefaultStatus: http.StatusCreated, Security: person}, handle(s, s.voidResult))
	huma.Register(api, huma.Operation{OperationID: "cancel-retest", Method: http.MethodPost, Path: "/v1/retests/{id}/cancellation",
		Summary: "Put up for signing that a re-test is taken back", DefaultStatus: http.StatusCreated, Security: person}, handle(s, s.cancelRetest))
}

func (s *server) listPlans(context.Context, *struct{}) (*struct{ Body Page[PlanBody] }, error) {
	out := &struct{ Body Page[PlanBody] }{}
	for _, p := range sampling.Named() {
		out.Body.Items = append(out.Body.Items, planBody(p))
	}
	return out, nil
}

func (s *server) listRetests(ctx context.Context, in *struct {
	DeviationPath
	Paging
}) (*listed[RetestBody], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.Retests(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	var items []RetestBody
	for _, t := range list {
		if int64(t.ID) <= after || len(items) > in.Limit {
			continue
		}
		b, err := retestBody(t)
		if err != nil {
			return nil, err
		}
		items = append(items, b)
	}
	path := "/v1/deviations/" + strconv.FormatInt(in.ID, 10) + "/retests"
	return page(items, in.Paging, path, nil, func(b RetestBody) string { return strconv.FormatInt(b.ID, 10) }), nil
}

func (s *server) getRetest(ctx context.Context, in *RetestPath) (*retestAnswer, error) {
	return answerRetest(s.svc.Retest(ctx, scope(ctx, ""), retest.ID(in.ID)))
}

func answerRetest(t workflow.Retest, err error) (*retestAnswer, error) {
	if err != nil {
		return nil, err
	}
	b, err := retestBody(t)
	if err != nil {
		return nil, err
	}
	return &retestAnswer{etag(t.Version), b}, nil
}

func retestBody(t workflow.Retest) (RetestBody, error) {
	p, err := workflow.PromiseOf(t.Order())
	if err != nil {
		return RetestBody{}, err
	}
	o := t.Outcome
	b := RetestBody{ID: int64(t.ID), Deviation: t.Deviation, Lot: t.Lot, Portion: t.Label, State: t.State, Analyte: t.Analyte, Plan: planBody(t.Plan),
		Proves: PromiseBody{Confidence: p.Confidence, Clean: p.Clean, AtMost: p.AtMost, Points: []CharacteristicBody{}},
		Reach:  string(t.Reach), Tagged: orNull(t.Tagged), Units: t.Units, Laboratory: t.Laboratory, Custody: t.Terms.Custody, Reason: t.Reason,
		OrderedAt: clock(t.At), OrderedBy: t.By, Samples: []SampleBody{}, Chain: []CustodyBody{}, Results: []ResultBody{}, Version: t.Version,
		Outcome: OutcomeBody{string(o.Decision), o.Valid, o.Voided, o.Missing, o.AboveLimit, o.AboveReject, o.Unclear, o.VoidedAbove, orNull(o.LimitedTo), o.Allows,
			o.Confidence, o.Reason, o.Method, testCaution}}
	for _, c := range p.Points {
		b.Proves.Points = append(b.Proves.Points, CharacteristicBody(c))
	}
	for _, m := range t.Samples {
		b.Samples = append(b.Samples, SampleBody{m.Name, clock(m.At), m.By, m.From})
	}
	for _, c := range t.Custody {
		b.Chain = append(b.Chain, CustodyBody{c.Kind, clock(c.At), c.Who, c.Condition, orNull(c.Reference), c.By})
	}
	for _, r := range t.Results {
		b.Results = append(b.Results, ResultBody{int64(r.ID), r.Sample, string(r.Bound), r.Value, r.Unit, r.Method, r.Laboratory, r.Report, clock(r.TestedAt),
			(*int64)(r.Replaces), orNull(r.Reason), (*int64)(r.ReplacedBy), orNull(r.VoidedFor), orNull(r.VoidedBy), clock(r.RecordedAt), r.By})
	}
	return b, nil
}
