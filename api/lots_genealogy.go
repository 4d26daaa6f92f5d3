package api

import (
	"context"
	"net/http"
	"net/url"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow"
	"lastgood/workflow/key"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// GenealogyBody is what became of a lot, or what it was made of.
type GenealogyBody struct {
	Lot       string             `json:"lot"`
	Direction string             `json:"direction" enum:"forward,backward"`
	Nodes     []LotNodeBody      `json:"nodes" doc:"In order of steps, the lot itself first"`
	Edges     []LotEdgeBody      `json:"edges"`
	Shipments []ShippedShareBody `json:"shipments" doc:"Of these lots, where the genealogy goes forward"`
	Truncated bool               `json:"truncated" doc:"There is more than 50000 lots, or 200000 edges: go on from a lot further on"`
}

// LotNodeBody is a lot of a genealogy. What is null is not known.
type LotNodeBody struct {
	Lot          string  `json:"lot"`
	Steps        int     `json:"steps" doc:"The fewest from the lot that was asked for"`
	Product      *string `json:"product"`
	MadeAt       *string `json:"made_at"`
	MadeFrom     *string `json:"made_from"`
	MadeUntil    *string `json:"made_until"`
	Quantity     *string `json:"quantity" doc:"That was made"`
	QuantityUnit *string `json:"quantity_unit"`
	InControl    bool    `json:"in_control" doc:"Some of it is on site, as far as is known"`
	Remaining    *string `json:"remaining"`
	Shipped      *string `json:"shipped" doc:"null: nothing has, or nobody can say how much"`
	Held         bool    `json:"held" doc:"A hold stands on some of it"`
}

// LotEdgeBody is one way in which one lot came into another.
type LotEdgeBody struct {
	Kind           string  `json:"kind" enum:"transformation,vessel,quarantined" doc:"vessel: it stood there with the other, or before it without a clean-out between; quarantined: a row that would close a cycle says so"`
	InputLot       string  `json:"input_lot"`
	OutputLot      string  `json:"output_lot"`
	Event          *string `json:"event"`
	Location       *string `json:"location" doc:"Of a vessel"`
	At             string  `json:"at"`
	InputQuantity  *string `json:"input_quantity"`
	OutputQuantity *string `json:"output_quantity"`
	QuantityUnit   *string `json:"quantity_unit"`
	Share          *string `json:"share" doc:"Forward: which part of the input lot went this way; backward: which part of the output lot came this way. null: nobody can say"`
}

// ShippedShareBody is some of a lot of a genealogy, gone to a consignee.
type ShippedShareBody struct {
	Lot          string  `json:"lot"`
	Shipment     string  `json:"shipment"`
	Consignee    string  `json:"consignee"`
	Quantity     *string `json:"quantity"`
	QuantityUnit *string `json:"quantity_unit"`
	ShippedAt    string  `json:"shipped_at"`
}

// HeldTransformationBody is a row of the genealogy that would make a lot its own
// ancestor.
type HeldTransformationBody struct {
	ID int64 `json:"id"`
	TransformationFact
	Lots       []string         `json:"lots" doc:"Of its cycle: one mixed lot until it is rejected"`
	Reason     string           `json:"reason"`
	RecordedAt string           `json:"recorded_at"`
	RecordedBy string           `json:"recorded_by"`
	Resolution *CycleRulingBody `json:"resolution,omitzero" doc:"Left out: nobody has decided"`
}

// CycleRulingBody is what somebody decided on such a row.
type CycleRulingBody struct {
	Verdict    string `json:"verdict" enum:"accepted_as_commingled,rejected"`
	Reason     string `json:"reason"`
	DecidedBy  string `json:"decided_by"`
	RecordedAt string `json:"recorded_at"`
}

type genealogyAnswer struct{ Body GenealogyBody }

type heldTransformationAnswer struct{ Body HeldTransformationBody }

func (s *server) registerGenealogy(api huma.API) {
	read := needs(key.FactsRead)
	huma.Register(api, huma.Operation{OperationID: "get-lot-genealogy", Method: http.MethodGet, Path: "/v1/lots/{lot}/genealogy",
		Summary: "What became of a lot, or what it was made of, with quantities", Security: read}, handle(s, s.getGenealogy))
	huma.Register(api, huma.Operation{OperationID: "list-quarantined-transformations", Method: http.MethodGet, Path: "/v1/lots/quarantined-transformations",
		Summary: "Transformations that would make a lot its own ancestor", Security: read}, handle(s, s.listHeldTransformations))
	huma.Register(api, huma.Operation{OperationID: "resolve-transformation", Method: http.MethodPost,
		Path:    "/v1/lots/quarantined-transformations/{id}/resolution",
		Summary: "Say whether the lots of a cycle are one mixed lot", Security: needs(key.DeviationsWrite),
		Description: "accepted_as_commingled: it happened, and the lots of the cycle stay one mixed lot. rejected: the row is wrong, and the lots are again " +
			"what the other rows say. Holds stand until QA lifts them. A decision stands."}, handle(s, s.resolveTransformation))
}

func (s *server) getGenealogy(ctx context.Context, in *struct {
	LotPath
	Direction string `query:"direction" enum:"forward,backward" default:"forward"`
	Depth     int    `query:"depth" minimum:"0" maximum:"100000" doc:"So many steps; 0 or left out: to the end"`
}) (*genealogyAnswer, error) {
	g, err := s.svc.Genealogy(ctx, scope(ctx, ""), in.Lot, lot.Direction(in.Direction), in.Depth)
	if err != nil {
		return nil, err
	}
	b := GenealogyBody{g.Lot, string(g.Direction), make([]LotNodeBody, len(g.Nodes)), make([]LotEdgeBody, len(g.Links)), []ShippedShareBody{}, g.Truncated}
	for i, n := range g.Nodes {
		b.Nodes[i] = lotNodeBody(n)
	}
	for i, l := range g.Links {
		b.Edges[i] = LotEdgeBody{string(l.Kind), l.From, l.To, orNull(l.Event), orNull(l.Location), clock(l.At), l.In, l.Out, l.Unit, l.Share}
	}
	for _, sh := range g.Shipments {
		b.Shipments = append(b.Shipments, ShippedShareBody{sh.Lot, sh.Shipment, sh.Consignee, sh.Quantity, sh.Unit, clock(sh.ShippedAt)})
	}
	return &genealogyAnswer{b}, nil
}

func lotNodeBody(n workflow.LotNode) LotNodeBody {
	b := LotNodeBody{Lot: n.Lot, Steps: n.Steps, Product: n.Product, MadeAt: clockOr(n.MadeAt), MadeFrom: clockOr(n.MadeFrom),
		MadeUntil: clockOr(n.MadeUntil), InControl: n.InControl, Held: n.Held}
	if n.Quantity != nil {
		b.Quantity, b.QuantityUnit = &n.Quantity.Amount, &n.Quantity.Unit
	}
	if n.Remaining != nil {
		b.Remaining = &n.Remaining.Amount
	}
	if n.Shipped != nil {
		text := n.Shipped.Amount
		if b.QuantityUnit == nil || *b.QuantityUnit != n.Shipped.Unit {
			text = n.Shipped.String()
		}
		b.Shipped = &text
	}
	return b
}

func heldTransformationBody(h lot.Held) HeldTransformationBody {
	b := HeldTransformationBody{h.ID, transformationFact(h.Transformation), h.Lots, h.Reason, clock(h.RecordedAt), h.RecordedBy, nil}
	if r := h.Resolution; r != nil {
		b.Resolution = &CycleRulingBody{string(r.Ruling), r.Reason, r.DecidedBy, clock(r.At)}
	}
	return b
}

func (s *server) listHeldTransformations(ctx context.Context, in *struct {
	Paging
	Open bool `query:"open" doc:"Only those on which nobody has decided"`
}) (*listed[HeldTransformationBody], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.QuarantinedTransformations(ctx, scope(ctx, ""), in.Open, after, in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]HeldTransformationBody, len(list))
	for i, h := range list {
		items[i] = heldTransformationBody(h)
	}
	query := url.Values{}
	if in.Open {
		query.Set("open", "true")
	}
	return page(items, in.Paging, "/v1/lots/quarantined-transformations", query, func(b HeldTransformationBody) string { return number(b.ID) }), nil
}

func (s *server) resolveTransformation(ctx context.Context, in *struct {
	Write
	ID   int64 `path:"id" minimum:"1"`
	Body struct {
		Verdict   string `json:"verdict" enum:"accepted_as_commingled,rejected"`
		Reason    string `json:"reason" minLength:"1" maxLength:"4000"`
		DecidedBy string `json:"decided_by,omitempty" maxLength:"100" doc:"The person; a key decides nothing. Left out in a person's own session"`
	}
}) (*heldTransformationAnswer, error) {
	h, err := s.svc.ResolveTransformation(ctx, scope(ctx, in.IdempotencyKey), in.ID,
		workflow.TransformationRuling{Ruling: lot.Ruling(in.Body.Verdict), Reason: in.Body.Reason, By: in.Body.DecidedBy})
	if err != nil {
		return nil, err
	}
	return &heldTransformationAnswer{heldTransformationBody(h)}, nil
}

func (s *server) listPlaces(ctx context.Context, sc pg.Scope, in AllOf, limit int) ([]placed[PlaceFact], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	return numberedLots(placeFact)(s.svc.Places(ctx, sc, after, limit))
}

func (s *server) listCleanouts(ctx context.Context, sc pg.Scope, in AllOf, limit int) ([]placed[CleanoutFact], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	return numberedLots(cleanoutFact)(s.svc.Cleanouts(ctx, sc, "", after, limit))
}
