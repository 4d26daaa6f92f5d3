package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow"
	"lastgood/workflow/decision"
	"lastgood/workflow/key"
)

// ReportBody is one report of what was carried out.
type ReportBody struct {
	Fate         string  `json:"fate" doc:"What became of it: released, destroyed, samples, …"`
	Quantity     string  `json:"quantity"`
	QuantityUnit string  `json:"quantity_unit"`
	At           string  `json:"at"`
	Place        *string `json:"place"`
	Tag          *string `json:"tag"`
	Reason       *string `json:"reason" doc:"Of what cannot be recovered"`
	ReportedAt   string  `json:"reported_at"`
	ReportedBy   string  `json:"reported_by"`
}

// NewReportBody says what was carried out.
type NewReportBody struct {
	Fate         string `json:"fate" maxLength:"50" doc:"What became of it: released, reworked, reprocessed, diverted, destroyed, retrieved, accounted_unrecoverable, samples, process_loss"`
	Quantity     string `json:"quantity" maxLength:"30" doc:"As digits"`
	QuantityUnit string `json:"quantity_unit" maxLength:"30"`
	At           string `json:"at"`
	Place        string `json:"place,omitempty" maxLength:"200"`
	Tag          string `json:"tag,omitempty" maxLength:"100"`
	Reason       string `json:"reason,omitempty" maxLength:"2000" doc:"Of what cannot be recovered"`
	Last         bool   `json:"last" doc:"Nothing of the portion is left to report"`
}

func (s *server) registerExecutions(api huma.API) {
	// What happens on the floor is told by the floor, as a count under hold is.
	huma.Register(api, huma.Operation{OperationID: "report-execution", Method: http.MethodPost, Path: "/v1/dispositions/{id}/executions",
		Summary:       "Report what was carried out of a signed disposition; the last report lifts the hold of the portion",
		DefaultStatus: http.StatusCreated, Security: needs(key.HoldsWrite)}, handle(s, s.reportExecution))
}

func reportBody(d decision.Done) ReportBody {
	return ReportBody{d.Fate, d.Amount, d.Unit, clock(d.At), orNull(d.Place), orNull(d.Tag), orNull(d.Reason), clock(d.ReportedAt), d.By}
}

func (s *server) reportExecution(ctx context.Context, in *struct {
	DispositionPath
	Write
	Body NewReportBody
}) (*dispositionAnswer, error) {
	b := in.Body
	n := workflow.NewReport{Fate: b.Fate, Place: b.Place, Tag: b.Tag, Reason: b.Reason, Last: b.Last}
	var err error
	if n.Quantity, err = quantityIn(b.Quantity, b.QuantityUnit); err != nil {
		return nil, err
	}
	if n.At, err = timeIn(b.At, "body.at"); err != nil {
		return nil, err
	}
	d, err := s.svc.ReportExecution(ctx, scope(ctx, in.IdempotencyKey), decision.ID(in.ID), n)
	if err != nil {
		return nil, err
	}
	return s.disposition(ctx, d.ID)
}
