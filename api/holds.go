package api

import (
	"context"
	"net/http"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/key"
)

// HoldBody is a standing hold.
type HoldBody struct {
	ID             int64   `json:"id"`
	Deviation      *int64  `json:"deviation" doc:"null: none; the cascade that placed it waits to be confirmed, or it was placed by hand"`
	Cascade        *int64  `json:"cascade" doc:"The cascade that placed it before there was a deviation; null: none"`
	Reason         *string `json:"reason" doc:"Of a hold that was placed by hand; null: it was not"`
	Lot            string  `json:"lot"`
	Portion        *string `json:"portion" doc:"null: the whole lot"`
	BecauseOf      string  `json:"because_of"`
	Quantity       *string `json:"quantity" doc:"null: nobody knows how much is left"`
	QuantityUnit   *string `json:"quantity_unit"`
	Location       *string `json:"location"`
	PlacedAt       string  `json:"placed_at"`
	PlacedBy       string  `json:"placed_by"`
	AcknowledgedAt *string `json:"acknowledged_at"`
	Counted        *string `json:"counted_quantity"`
	Short          bool    `json:"short" doc:"Less was counted than is held: not contained"`
	MovedAt        *string `json:"moved_at" doc:"Product left by a shipment that was recorded while the hold stood; before placed_at: it had gone already. null: none"`
	AllowedAt      *string `json:"allowed_at" doc:"The ship gate allowed it so shortly before the hold that it may be on its way; null: it did not"`
	Version        int     `json:"version"`
}

func holdBody(h hold.Hold) HoldBody {
	var deviation, cascade *int64
	if h.Deviation != 0 {
		deviation = &h.Deviation
	}
	if h.Cascade != 0 {
		cascade = &h.Cascade
	}
	return HoldBody{int64(h.ID), deviation, cascade, orNull(h.Reason), h.LotCode, orNull(h.Portion), h.BecauseOf, h.Quantity, h.Unit, h.Location,
		clock(h.PlacedAt), h.PlacedBy, clockOr(h.AcknowledgedAt), h.Counted, h.Short, clockOr(h.MovedAt), clockOr(h.AllowedAt), h.Version}
}

type holdAnswer struct {
	ETag string `header:"ETag"`
	Body HoldBody
}

// HoldPath names a hold.
type HoldPath struct {
	ID int64 `path:"id" minimum:"1"`
}

func (s *server) registerHolds(api huma.API) {
	read := needs(key.DeviationsRead)
	huma.Register(api, huma.Operation{OperationID: "list-holds", Method: http.MethodGet, Path: "/v1/holds",
		Summary: "Standing holds", Security: read}, handle(s, s.listHolds))
	huma.Register(api, huma.Operation{OperationID: "get-hold", Method: http.MethodGet, Path: "/v1/holds/{id}",
		Summary: "A standing hold", Security: read}, handle(s, s.getHold))
	huma.Register(api, huma.Operation{OperationID: "place-hold", Method: http.MethodPost, Path: "/v1/holds",
		Summary:       "Place a hold by hand; anyone may who has a reason, and only QA lifts one",
		DefaultStatus: http.StatusCreated, Security: needs(key.HoldsWrite)}, handle(s, s.placeHold))
	huma.Register(api, huma.Operation{OperationID: "acknowledge-hold", Method: http.MethodPost, Path: "/v1/holds/{id}/acknowledgement",
		Summary: "The stock is under hold, and so much was counted", Security: needs(key.HoldsWrite)}, handle(s, s.acknowledgeHold))
	huma.Register(api, huma.Operation{OperationID: "ask-to-lift", Method: http.MethodPost, Path: "/v1/holds/{id}/lifting",
		Summary:       "Put up for QA to sign that nothing asks for a hold any more; one on a lot in doubt is lifted by a signed disposition",
		DefaultStatus: http.StatusCreated, Security: needsPerson(recordsSign)}, handle(s, s.askToLift))
}

func (s *server) listHolds(ctx context.Context, in *struct {
	Paging
	Deviation int64 `query:"deviation" minimum:"1"`
}) (*listed[HoldBody], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.HoldsAfter(ctx, scope(ctx, ""), workflow.DeviationID(in.Deviation), after, in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]HoldBody, len(list))
	for i, h := range list {
		items[i] = holdBody(h)
	}
	q := map[string][]string{}
	if in.Deviation != 0 {
		q["deviation"] = []string{strconv.FormatInt(in.Deviation, 10)}
	}
	return page(items, in.Paging, "/v1/holds", q, func(h HoldBody) string { return strconv.FormatInt(h.ID, 10) }), nil
}

func (s *server) getHold(ctx context.Context, in *HoldPath) (*holdAnswer, error) {
	h, err := s.svc.Hold(ctx, scope(ctx, ""), hold.ID(in.ID))
	if err != nil {
		return nil, err
	}
	return &holdAnswer{etag(h.Version), holdBody(h)}, nil
}

func (s *server) acknowledgeHold(ctx context.Context, in *struct {
	HoldPath
	Seen
	Write
	Body struct {
		Counted string `json:"counted_quantity" maxLength:"30" doc:"What was counted, as digits"`
		Unit    string `json:"quantity_unit" maxLength:"30"`
	}
}) (*holdAnswer, error) {
	v, err := in.version()
	if err != nil {
		return nil, err
	}
	counted, err := unit.ParseQuantity(in.Body.Counted, in.Body.Unit)
	if err != nil {
		return nil, fault.New(fault.Invalid, "not-a-quantity", "%v", err).In("body.counted_quantity")
	}
	h, err := s.svc.AcknowledgeHold(ctx, scope(ctx, in.IdempotencyKey), hold.ID(in.ID), v, counted)
	if err != nil {
		return nil, err
	}
	return &holdAnswer{etag(h.Version), holdBody(h)}, nil
}

func (s *server) placeHold(ctx context.Context, in *struct {
	Write
	Body struct {
		Lot     string `json:"lot" minLength:"1" maxLength:"100"`
		Portion string `json:"portion,omitempty" maxLength:"100" doc:"A portion's label; left out: the whole lot"`
		Reason  string `json:"reason" minLength:"1" maxLength:"500"`
	}
}) (*holdAnswer, error) {
	code, err := exchange.Mark(in.Body.Lot, exchange.Product, "body.lot")
	if err != nil {
		return nil, err
	}
	portion, err := exchange.Mark(in.Body.Portion, exchange.Product, "body.portion")
	if err != nil {
		return nil, err
	}
	h, err := s.svc.PlaceHold(ctx, scope(ctx, in.IdempotencyKey), code, portion, in.Body.Reason)
	if err != nil {
		return nil, err
	}
	return &holdAnswer{etag(h.Version), holdBody(h)}, nil
}

func (s *server) askToLift(ctx context.Context, in *struct {
	HoldPath
	Write
	Body struct {
		Reason string `json:"reason" maxLength:"2000"`
	}
}) (*toSign, error) {
	r, err := s.svc.AskToLift(ctx, scope(ctx, in.IdempotencyKey), hold.ID(in.ID), in.Body.Reason)
	if err != nil {
		return nil, err
	}
	return &toSign{recordHead(r)}, nil
}
