package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
)

// GateItemBody is product that somebody wants to load.
type GateItemBody struct {
	Lot          string  `json:"lot" minLength:"1" maxLength:"100"`
	Portion      string  `json:"portion,omitempty" maxLength:"100" doc:"A portion's label; left out: of the lot, whichever portion"`
	Quantity     *string `json:"quantity,omitempty" maxLength:"30" doc:"How much is to be loaded, as digits; left out: not compared with what is in control. Items of one lot add up"`
	QuantityUnit string  `json:"quantity_unit,omitempty" maxLength:"30"`
}

// GateVerdictBody is an item with the answer.
type GateVerdictBody struct {
	GateItemBody
	MayShip bool             `json:"may_ship"`
	Reasons []GateReasonBody `json:"reasons" doc:"Every reason why it must not ship; empty if it may"`
}

// GateReasonBody is one reason why an item must not ship.
type GateReasonBody struct {
	Rule   string `json:"rule" doc:"Stable; new ones may come, and each means no" example:"on-hold"`
	Detail string `json:"detail" doc:"One sentence for a person"`
	Lot    string `json:"lot" doc:"That the reason lies in: the item's, or one that it was made of"`
	Link   string `json:"link" doc:"Where more is said of it"`
}

// GateBody is the answer of the ship gate.
type GateBody struct {
	Caution    string            `json:"caution" doc:"What may_ship true does not say"`
	MayShip    bool              `json:"may_ship" doc:"All of it"`
	AsOf       string            `json:"as_of" doc:"It is true for everything that was recorded until then"`
	ValidUntil string            `json:"valid_until" doc:"Ten seconds after as_of. Do not act on it later: ask again. It reserves nothing"`
	Epoch      int64             `json:"epoch" doc:"Of the plant's deviations; raised whenever one opens or changes its window"`
	Question   int64             `json:"question" doc:"Its number in the record"`
	Items      []GateVerdictBody `json:"items" doc:"In the order asked"`
}

type gateAnswer struct {
	CacheControl string `header:"Cache-Control"`
	Body         GateBody
}

func (s *server) registerGate(api huma.API) {
	const about = "May this product be loaded? Only an answer 200 with may_ship true, before valid_until, means yes. Whatever cannot be decided is no: " +
		"if the question cannot be answered, the answer is 503 and says not to load. Every question is recorded."
	ask := needs(key.ShipAsk)
	huma.Register(api, huma.Operation{OperationID: "ask-ship-gate", Method: http.MethodPost, Path: "/v1/ship-gate",
		Summary: "May these lots ship?", Description: about, Security: ask}, s.askGate)
	huma.Register(api, huma.Operation{OperationID: "ask-ship-gate-lot", Method: http.MethodGet, Path: "/v1/ship-gate/{lot}",
		Summary: "May this lot ship?", Description: about, Security: ask}, s.askGateLot)
}

func (s *server) askGate(ctx context.Context, in *struct {
	Body struct {
		Items     []GateItemBody `json:"items" minItems:"1" maxItems:"200"`
		Shipment  string         `json:"shipment,omitempty" maxLength:"100"`
		Consignee string         `json:"consignee,omitempty" maxLength:"200"`
	}
}) (*gateAnswer, error) {
	return s.gate(ctx, in.Body.Items, in.Body.Shipment, in.Body.Consignee)
}

func (s *server) askGateLot(ctx context.Context, in *struct {
	LotPath
	Portion   string `query:"portion" maxLength:"100"`
	Quantity  string `query:"quantity" maxLength:"30"`
	Unit      string `query:"quantity_unit" maxLength:"30"`
	Shipment  string `query:"shipment" maxLength:"100"`
	Consignee string `query:"consignee" maxLength:"200"`
}) (*gateAnswer, error) {
	return s.gate(ctx, []GateItemBody{{in.Lot, in.Portion, orNull(in.Quantity), in.Unit}}, in.Shipment, in.Consignee)
}

func (s *server) gate(ctx context.Context, items []GateItemBody, shipment, consignee string) (*gateAnswer, error) {
	q, err := gateQuestion(items)
	if err != nil {
		return nil, s.problemOf(ctx, err)
	}
	q.Shipment, q.Consignee = shipment, consignee
	a, err := s.svc.MayShip(ctx, scope(ctx, ""), q)
	if err != nil {
		var p *Problem
		errors.As(s.problemOf(ctx, err), &p)
		return nil, closed(p)
	}
	b := GateBody{gateCaution, a.MayShip, clock(a.AsOf), clock(a.ValidUntil), a.Epoch, a.Question, []GateVerdictBody{}}
	for i, v := range a.Items {
		b.Items = append(b.Items, GateVerdictBody{items[i], v.MayShip, gateReasons(v.Reasons)})
	}
	return &gateAnswer{"no-store", b}, nil
}

// closed turns whatever went wrong on our side into the one answer that a
// question to the ship gate has then. What is the caller's fault stays so: it is
// no permission either.
func closed(p *Problem) *Problem {
	if p.Status < http.StatusInternalServerError {
		return p
	}
	rule := p.Rule
	if p.Status != http.StatusServiceUnavailable {
		rule = "undecided"
	}
	c := newProblem(http.StatusServiceUnavailable, rule, "do not load: whether this may ship cannot be decided just now; ask again")
	c.Instance = p.Instance
	return c
}

func gateQuestion(items []GateItemBody) (q workflow.GateQuestion, err error) {
	for i, it := range items {
		var item workflow.GateItem
		if item.Lot, err = exchange.Mark(it.Lot, exchange.Product, fmt.Sprintf("body.items[%d].lot", i)); err != nil {
			return q, err
		}
		if item.Portion, err = exchange.Mark(it.Portion, exchange.Product, fmt.Sprintf("body.items[%d].portion", i)); err != nil {
			return q, err
		}
		switch {
		case it.Quantity != nil:
			amount, err := unit.ParseQuantity(*it.Quantity, it.QuantityUnit)
			if err != nil {
				return q, fault.New(fault.Invalid, "not-a-quantity", "%v", err).In(fmt.Sprintf("body.items[%d].quantity", i))
			}
			item.Quantity = &amount
		case it.QuantityUnit != "":
			return q, fault.New(fault.Invalid, "not-a-quantity", "a unit without a quantity says nothing").In(fmt.Sprintf("body.items[%d].quantity_unit", i))
		}
		q.Items = append(q.Items, item)
	}
	return q, nil
}

func gateReasons(list []workflow.GateReason) []GateReasonBody {
	out := []GateReasonBody{}
	for _, r := range list {
		link := "/v1/lots/" + url.PathEscape(r.Lot)
		switch {
		case r.Hold != 0:
			link = fmt.Sprintf("/v1/holds/%d", r.Hold)
		case r.Deviation != 0:
			link = fmt.Sprintf("/v1/deviations/%d", r.Deviation)
		case r.Cascade != 0:
			link = fmt.Sprintf("/v1/cascades/%d", r.Cascade)
		}
		out = append(out, GateReasonBody{r.Rule, r.Detail, r.Lot, link})
	}
	return out
}
