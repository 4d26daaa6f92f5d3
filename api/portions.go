package api

import (
	"context"
	"fmt"
	"net/http"
	"strconv"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
	"lastgood/workflow/lot"
)

// PortionBody is a portion of a lot in doubt, as it is told apart on the floor.
type PortionBody struct {
	ID           int64   `json:"id"`
	Lot          string  `json:"lot"`
	Portion      *string `json:"portion" doc:"Its name; null: what no other portion names"`
	State        string  `json:"state"`
	Place        string  `json:"place" enum:"in_control,shipped,retrieved"`
	Quantity     *string `json:"quantity" doc:"null: nobody knows how much it is"`
	QuantityUnit *string `json:"quantity_unit"`
	Pallet       *string `json:"pallet"`
	Tag          *string `json:"tag"`
	From         *string `json:"made_from"`
	Until        *string `json:"made_until"`
	Shipment     *string `json:"shipment" doc:"Of what has left"`
	OutOf        *int64  `json:"out_of" doc:"The disposition by which it came back; null: it never left"`
}

// PortionStory is a portion with what was found, what may become of it and what
// was decided.
type PortionStory struct {
	PortionBody
	Verdict          *string         `json:"verdict" doc:"Of its lot, the gravest; null: the last run does not doubt it"`
	MissedAsRecorded bool            `json:"missed_as_recorded"`
	Level            int             `json:"level"`
	Options          []OptionBody    `json:"options" doc:"Empty: the last run does not doubt it, or nothing is left of it"`
	Disposition      *PortionDecided `json:"disposition" doc:"That stands; null: none"`
	Evidence         []EvidenceBody  `json:"evidence"`
}

// PortionDecided is what stands decided of a portion.
type PortionDecided struct {
	ID          int64  `json:"id"`
	Disposition string `json:"disposition"`
	State       string `json:"state" enum:"proposed,signed,executed"`
}

// OptionBody is a disposition and whether the portion may get it.
type OptionBody struct {
	Disposition string     `json:"disposition"`
	Allowed     bool       `json:"allowed"`
	Barred      bool       `json:"barred" doc:"No evidence allows it as things are"`
	Why         string     `json:"why"`
	Needs       []NeedBody `json:"needs" doc:"Each of them"`
	Signers     []SeatBody `json:"signers" doc:"Of the decision, in their order: by the table and by the site's rules"`
	Afterwards  []SeatBody `json:"execution_signers" doc:"That it was carried out, in their order"`
	Then        []string   `json:"then" doc:"Of a retrieval: what may become of it when it is back"`
}

// NeedBody is evidence that is asked for: any one of these.
type NeedBody struct {
	OneOf  []string `json:"one_of"`
	Met    bool     `json:"met"`
	Why    string   `json:"why"`
	Source string   `json:"source"`
}

func (s *server) registerPortions(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "list-portions", Method: http.MethodGet, Path: "/v1/deviations/{id}/portions",
		Summary: "The portions of the lots in doubt: what may become of each, and what was decided", Security: needs(key.DeviationsRead)}, handle(s, s.listPortions))
	huma.Register(api, huma.Operation{OperationID: "split-portion", Method: http.MethodPost, Path: "/v1/deviations/{id}/portions",
		Summary:       "Name a portion out of what no other names: by pallet, tag or time of production. It stays on hold",
		DefaultStatus: http.StatusCreated, Security: needs(key.DeviationsWrite)}, handle(s, s.splitPortion))
}

func portionBody(p lot.Portion, q *unit.Quantity) PortionBody {
	b := PortionBody{ID: int64(p.ID), Lot: p.LotCode, Portion: orNull(p.Label), State: p.State, Place: string(p.Place), Pallet: p.Pallet, Tag: p.Tag,
		From: clockOr(p.From), Until: clockOr(p.Until), Shipment: p.Shipment, OutOf: p.OutOf}
	if q != nil {
		b.Quantity, b.QuantityUnit = &q.Amount, &q.Unit
	}
	return b
}

func portionStory(p workflow.PortionState) PortionStory {
	b := PortionStory{portionBody(p.Portion, p.Quantity), orNull(string(p.Finding.Verdict)), p.Finding.MissedAsRecorded, p.Finding.Level,
		make([]OptionBody, len(p.Options)), nil, make([]EvidenceBody, len(p.Evidence))}
	for i, o := range p.Options {
		b.Options[i] = optionBody(o)
	}
	if d := p.Decision; d != nil {
		b.Disposition = &PortionDecided{int64(d.ID), string(d.Kind), string(d.State)}
	}
	for i, e := range p.Evidence {
		b.Evidence[i] = evidenceBody(e)
	}
	return b
}

func optionBody(o workflow.Option) OptionBody {
	b := OptionBody{string(o.Disposition), o.Allowed, o.Barred, o.Why, []NeedBody{}, seatBodies(o.Decided), seatBodies(o.Done), spell(o.Then)}
	for _, n := range o.Needs {
		b.Needs = append(b.Needs, NeedBody{spell(n.OneOf), n.Met, n.Why, n.Source})
	}
	return b
}

func spell[S ~string](list []S) []string {
	out := make([]string, len(list))
	for i, s := range list {
		out[i] = string(s)
	}
	return out
}

func (s *server) listPortions(ctx context.Context, in *struct {
	DeviationPath
	Paging
}) (*listed[PortionStory], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.PortionsOf(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	items := []PortionStory{}
	for _, p := range list {
		if int64(p.ID) > after {
			items = append(items, portionStory(p))
		}
	}
	return page(items, in.Paging, fmt.Sprintf("/v1/deviations/%d/portions", in.ID), nil, func(p PortionStory) string { return strconv.FormatInt(p.ID, 10) }), nil
}

// NewPortionBody says how a portion is told apart, and how much it is.
type NewPortionBody struct {
	Lot          string `json:"lot" minLength:"1" maxLength:"100"`
	Portion      string `json:"portion" minLength:"1" maxLength:"100" doc:"Its name from now on"`
	Quantity     string `json:"quantity" maxLength:"30" doc:"As digits"`
	QuantityUnit string `json:"quantity_unit" maxLength:"30"`
	Pallet       string `json:"pallet,omitempty" maxLength:"100" doc:"Its SSCC, or the plant's own number"`
	Tag          string `json:"tag,omitempty" maxLength:"100" doc:"Of the hold"`
	From         string `json:"made_from,omitempty"`
	Until        string `json:"made_until,omitempty"`
}

func (b NewPortionBody) portion() (n workflow.NewPortion, err error) {
	n = workflow.NewPortion{Pallet: b.Pallet, Tag: b.Tag}
	if n.Lot, err = exchange.Mark(b.Lot, exchange.Product, "body.lot"); err != nil {
		return n, err
	}
	if n.Label, err = exchange.Mark(b.Portion, exchange.Product, "body.portion"); err != nil {
		return n, err
	}
	if n.Pallet, err = exchange.Mark(b.Pallet, exchange.Product, "body.pallet"); err != nil {
		return n, err
	}
	if n.Quantity, err = quantityIn(b.Quantity, b.QuantityUnit); err != nil {
		return n, err
	}
	if n.From, err = timeOrNone(b.From, "body.made_from"); err != nil {
		return n, err
	}
	n.Until, err = timeOrNone(b.Until, "body.made_until")
	return n, err
}

// quantityIn reads a quantity of a request's body.
func quantityIn(amount, name string) (unit.Quantity, error) {
	q, err := unit.ParseQuantity(amount, name)
	if err != nil {
		return q, fault.New(fault.Invalid, "not-a-quantity", "%v", err).In("body.quantity")
	}
	return q, nil
}

func (s *server) splitPortion(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body NewPortionBody
}) (*struct{ Body PortionBody }, error) {
	n, err := in.Body.portion()
	if err != nil {
		return nil, err
	}
	p, err := s.svc.SplitPortion(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), n)
	if err != nil {
		return nil, err
	}
	return &struct{ Body PortionBody }{portionBody(p, p.Amount())}, nil
}

// timeIn reads a time that must be there.
func timeIn(s, field string) (time.Time, error) {
	t, f := exchange.Time(s)
	if f != nil {
		return t, f.In(field)
	}
	return t, nil
}
