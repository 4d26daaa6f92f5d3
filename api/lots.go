package api

import "context"

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
	Lot string `path:"lot" maxLength:"100"`
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
