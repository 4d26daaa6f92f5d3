package api

import (
	"context"
	"errors"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/workflow/fault"
)

// LotBody is a lot as it stands.
type LotBody struct {
	LotFact
	Registered bool `json:"registered" doc:"false: rows have named it, and nobody registered it"`
}

// LotStory is a lot and everything that is known of where it is.
type LotStory struct {
	LotBody
	Version         int                  `json:"version"`
	InControl       bool                 `json:"in_control" doc:"Some of it is on site, as far as is known"`
	Remaining       *Amount              `json:"remaining,omitzero" doc:"made − used in other lots − shipped; left out: unknown"`
	Holds           []HoldBody           `json:"holds"`
	Stays           []StayFact           `json:"stays"`
	Transformations []TransformationFact `json:"transformations"`
	Shipments       []ShipmentFact       `json:"shipments"`
}

// LotPath names a lot.
type LotPath struct {
	Lot string `path:"lot" maxLength:"200" doc:"Its code, or a GS1 key of it in any form"`
}

// Resolve names the lot as the records name it.
func (p *LotPath) Resolve(huma.Context) []error { return remark(&p.Lot, exchange.Product, "path.lot") }

// remark puts the one code that a GS1 key has in place of whatever form it came
// in.
func remark(code *string, of exchange.Marked, field string) []error {
	name, err := exchange.Mark(*code, of, field)
	var f *fault.Error
	if errors.As(err, &f) {
		return []error{&huma.ErrorDetail{Location: field, Message: f.Detail, Value: *code}}
	}
	*code = name
	return nil
}

type lotAnswer struct {
	ETag string `header:"ETag"`
	Body LotStory
}

func (s *server) getLot(ctx context.Context, in *LotPath) (*lotAnswer, error) {
	st, err := s.svc.Lot(ctx, scope(ctx, ""), in.Lot)
	if err != nil {
		return nil, err
	}
	b := LotStory{LotBody: LotBody{lotFact(st.Lot.Value.Lot), st.Lot.Value.Registered}, Version: st.Lot.Version,
		InControl: st.Position.InControl, Remaining: (*Amount)(st.Position.Quantity),
		Holds: []HoldBody{}, Stays: []StayFact{}, Transformations: []TransformationFact{}, Shipments: []ShipmentFact{}}
	for _, h := range st.Holds {
		b.Holds = append(b.Holds, holdBody(h))
	}
	for _, y := range st.Stays {
		b.Stays = append(b.Stays, stayFact(y.Value))
	}
	for _, t := range st.Made {
		b.Transformations = append(b.Transformations, transformationFact(t))
	}
	for _, sh := range st.Shipped {
		b.Shipments = append(b.Shipments, shipmentFact(sh))
	}
	return &lotAnswer{etag(st.Lot.Version), b}, nil
}
