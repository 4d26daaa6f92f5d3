package api

import (
	"context"

	"lastgood/api/exchange"
	"lastgood/policy/sampling"
	"lastgood/workflow"
	"lastgood/workflow/retest"
)

func (s *server) orderRetest(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Lot        string   `json:"lot" minLength:"1" maxLength:"100"`
		Portion    string   `json:"portion,omitempty" maxLength:"200" doc:"Left out: what no other portion names"`
		Analyte    string   `json:"analyte" minLength:"1" maxLength:"200"`
		Plan       string   `json:"plan,omitempty" maxLength:"50" doc:"A published plan; left out: n, c, m and M are the site's own"`
		N          int      `json:"n,omitempty" minimum:"0" maximum:"10000"`
		C          int      `json:"c,omitempty" minimum:"0" maximum:"10000"`
		Limit      *float64 `json:"m,omitempty"`
		Reject     *float64 `json:"M,omitempty" doc:"Left out: two classes"`
		Unit       string   `json:"unit,omitempty" maxLength:"50" doc:"cfu/g, detected in 25 g, …"`
		Reach      string   `json:"reach" enum:"whole_lot,tagged_only"`
		Tagged     string   `json:"tagged,omitempty" maxLength:"500" doc:"With tagged_only: the quantity that the result is limited to"`
		Units      int      `json:"units,omitempty" minimum:"0" doc:"That the samples speak for; left out: unknown or many"`
		Confidence float64  `json:"confidence,omitempty" minimum:"0" maximum:"1" doc:"Of what passing proves; left out: 0.95"`
		Laboratory string   `json:"laboratory" minLength:"1" maxLength:"200"`
		Custody    string   `json:"custody_plan" minLength:"1" maxLength:"2000" doc:"How the samples get to the laboratory, and who keeps them until then"`
		Reason     string   `json:"reason" minLength:"1" maxLength:"2000"`
	}
}) (*retestAnswer, error) {
	b := in.Body
	code, err := exchange.Mark(b.Lot, exchange.Product, "body.lot")
	if err != nil {
		return nil, err
	}
	n := workflow.NewRetest{Lot: code, Portion: b.Portion, Plan: b.Plan, N: b.N, C: b.C, Limit: b.Limit, Reject: b.Reject, Unit: b.Unit,
		Terms: retest.Terms{Analyte: b.Analyte, Reach: sampling.Reach(b.Reach), Tagged: b.Tagged, Units: b.Units, Confidence: b.Confidence,
			Laboratory: b.Laboratory, Custody: b.Custody, Reason: b.Reason}}
	return answerRetest(s.svc.OrderRetest(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), n))
}

func (s *server) drawSamples(ctx context.Context, in *struct {
	RetestPath
	Write
	Body struct {
		Items []SampleBody `json:"items" minItems:"1" maxItems:"10000"`
	}
}) (*retestAnswer, error) {
	list := make([]workflow.NewSample, len(in.Body.Items))
	for i, b := range in.Body.Items {
		at, err := timeIn(b.At, "body.items.drawn_at")
		if err != nil {
			return nil, err
		}
		list[i] = workflow.NewSample{Sample: b.Sample, At: at, By: b.By, From: b.From}
	}
	return answerRetest(s.svc.DrawSamples(ctx, scope(ctx, in.IdempotencyKey), retest.ID(in.ID), list))
}

// NewCustodyBody says who has the samples from then on.
type NewCustodyBody struct {
	At        string `json:"at"`
	Who       string `json:"who" minLength:"1" maxLength:"200"`
	Condition string `json:"condition" minLength:"1" maxLength:"500" doc:"Temperature, seals, packing"`
	Reference string `json:"reference,omitempty" maxLength:"200" doc:"The laboratory's own number, where it received them"`
}

type custodyInput struct {
	RetestPath
	Write
	Body NewCustodyBody
}

func (in *custodyInput) custody() (workflow.NewCustody, error) {
	at, err := timeIn(in.Body.At, "body.at")
	return workflow.NewCustody{At: at, Who: in.Body.Who, Condition: in.Body.Condition, Reference: in.Body.Reference}, err
}

func (s *server) handOver(ctx context.Context, in *custodyInput) (*retestAnswer, error) {
	n, err := in.custody()
	if err != nil {
		return nil, err
	}
	return answerRetest(s.svc.HandOver(ctx, scope(ctx, in.IdempotencyKey), retest.ID(in.ID), n))
}

func (s *server) receiveSamples(ctx context.Context, in *custodyInput) (*retestAnswer, error) {
	n, err := in.custody()
	if err != nil {
		return nil, err
	}
	return answerRetest(s.svc.ReceiveSamples(ctx, scope(ctx, in.IdempotencyKey), retest.ID(in.ID), n))
}

// NewResultBody is one sample's result.
type NewResultBody struct {
	Lot        string  `json:"lot" minLength:"1" maxLength:"100" doc:"Of the sample: a result that names another lot is refused"`
	Sample     string  `json:"sample" minLength:"1" maxLength:"200"`
	Bound      string  `json:"bound,omitempty" maxLength:"1" doc:"< or >; left out: exactly the value"`
	Value      float64 `json:"value"`
	Unit       string  `json:"unit" maxLength:"50"`
	Method     string  `json:"method" minLength:"1" maxLength:"200"`
	Laboratory string  `json:"laboratory" minLength:"1" maxLength:"200"`
	Report     string  `json:"report" minLength:"1" maxLength:"200" doc:"The laboratory's number of it"`
	TestedAt   string  `json:"tested_at"`
	Replaces   *int64  `json:"replaces,omitempty" minimum:"1" doc:"The result that it corrects"`
	Reason     string  `json:"reason,omitempty" maxLength:"2000" doc:"Why it replaces another"`
}

func (s *server) reportResults(ctx context.Context, in *struct {
	RetestPath
	Write
	Body struct {
		Items []NewResultBody `json:"items" minItems:"1" maxItems:"10000"`
	}
}) (*retestAnswer, error) {
	list := make([]workflow.NewResult, len(in.Body.Items))
	for i, b := range in.Body.Items {
		at, err := timeIn(b.TestedAt, "body.items.tested_at")
		if err != nil {
			return nil, err
		}
		code, err := exchange.Mark(b.Lot, exchange.Product, "body.items.lot")
		if err != nil {
			return nil, err
		}
		list[i] = workflow.NewResult{Lot: code, Sample: b.Sample, Value: b.Value, Bound: sampling.Bound(b.Bound), Unit: b.Unit, Method: b.Method,
			Laboratory: b.Laboratory, Report: b.Report, TestedAt: at, Replaces: (*retest.ResultID)(b.Replaces), Reason: b.Reason}
	}
	return answerRetest(s.svc.ReportResults(ctx, scope(ctx, in.IdempotencyKey), retest.ID(in.ID), list))
}

// WhyBody says why.
type WhyBody struct {
	Reason string `json:"reason" minLength:"1" maxLength:"2000"`
}

type reasonInput struct {
	RetestPath // or a result's: a number
	Write
	Body WhyBody
}

func (s *server) voidResult(ctx context.Context, in *reasonInput) (*toSign, error) {
	r, err := s.svc.AskToVoid(ctx, scope(ctx, in.IdempotencyKey), retest.ResultID(in.ID), in.Body.Reason)
	if err != nil {
		return nil, err
	}
	return &toSign{recordHead(r)}, nil
}

func (s *server) cancelRetest(ctx context.Context, in *reasonInput) (*toSign, error) {
	r, err := s.svc.AskToCancelRetest(ctx, scope(ctx, in.IdempotencyKey), retest.ID(in.ID), in.Body.Reason)
	if err != nil {
		return nil, err
	}
	return &toSign{recordHead(r)}, nil
}
