package api

import (
	"context"
	"encoding/hex"
	"errors"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
)

// CascadeHead is a cascade in a list.
type CascadeHead struct {
	ID          int64    `json:"id"`
	Reference   string   `json:"reference" doc:"The instrument that fell"`
	State       string   `json:"state" enum:"pending,confirmed,overtaken" doc:"overtaken: nothing was left to be done"`
	StartedAt   string   `json:"started_at"`
	StartedBy   []string `json:"started_by" doc:"Whose entries it rests on: none of them confirms it"`
	PreviewedAt string   `json:"previewed_at"`
	RefreshDue  *string  `json:"refresh_due" doc:"Since when something newer than the preview is known"`
	ConfirmedAt *string  `json:"confirmed_at"`
	ConfirmedBy *string  `json:"confirmed_by"`
	SHA256      string   `json:"sha256" doc:"Of the tree: a confirmation names what it saw"`
	Checks      int      `json:"checks"`
	Instruments int      `json:"instruments"`
	Windows     int      `json:"windows"`
	Lots        int      `json:"lots"`
}

// CascadeBody is a cascade with its tree.
type CascadeBody struct {
	CascadeHead
	Tree    CascadeTree `json:"tree"`
	Caution string      `json:"caution"`
}

// CascadeTree is what falls with a reference: reference, checks, instruments,
// windows, lots.
type CascadeTree struct {
	Reference string              `json:"reference"`
	Below     []CascadeInstrument `json:"below" doc:"Instruments that were checked against it"`
}

// CascadeInstrument is an instrument in the tree, under the first of the
// references by which the tree reaches it.
type CascadeInstrument struct {
	Instrument string              `json:"instrument"`
	Checks     []CascadeCheck      `json:"checks"`
	Windows    []CascadeWindow     `json:"windows"`
	Below      []CascadeInstrument `json:"below"`
}

// CascadeCheck is a check that loses its worth, or regains it.
type CascadeCheck struct {
	ID          int64    `json:"id"`
	PerformedAt string   `json:"performed_at"`
	Against     []string `json:"against"`
	Change      string   `json:"change" enum:"falls,regains"`
	Why         string   `json:"why"`
}

// CascadeWindow is a deviation that opens, or of which the window changes.
type CascadeWindow struct {
	Deviation *int64                 `json:"deviation" doc:"null: it opens"`
	FailedAt  string                 `json:"failed_at"`
	OpenedBy  string                 `json:"opened_by"`
	Becomes   string                 `json:"becomes" doc:"In words: opens, widens, narrows, moves, or the same window with more lots"`
	Reopens   bool                   `json:"reopens" doc:"Its evaluation had begun, and starts again"`
	Before    *exchange.WindowResult `json:"before,omitzero" doc:"Left out: it opens"`
	After     exchange.WindowResult  `json:"after"`
	Lots      []CascadeLot           `json:"lots" doc:"That come into doubt"`
}

// CascadeLot is a lot that comes into doubt.
type CascadeLot struct {
	Lot          string  `json:"lot"`
	BecauseOf    string  `json:"because_of"`
	InControl    bool    `json:"in_control" doc:"Some of it is here, and held; else all of it has left or went into other lots"`
	Quantity     *string `json:"quantity" doc:"null: nobody knows how much is left"`
	QuantityUnit *string `json:"quantity_unit"`
	Location     *string `json:"location"`
}

type cascadeAnswer struct {
	ETag string `header:"ETag"`
	Body CascadeBody
}

// CascadePath names a cascade.
type CascadePath struct {
	ID int64 `path:"id" minimum:"1"`
}

func (s *server) registerCascades(api huma.API) {
	read := needs(key.DeviationsRead)
	huma.Register(api, huma.Operation{OperationID: "list-cascades", Method: http.MethodGet, Path: "/v1/cascades",
		Summary: "What references that fell take with them; pending ones wait for a second person", Security: read}, handle(s, s.listCascades))
	huma.Register(api, huma.Operation{OperationID: "get-cascade", Method: http.MethodGet, Path: "/v1/cascades/{id}",
		Summary: "A cascade with its tree: checks, instruments, windows, lots", Security: read}, handle(s, s.getCascade))
	huma.Register(api, huma.Operation{OperationID: "confirm-cascade", Method: http.MethodPost, Path: "/v1/cascades/{id}/confirmation",
		Summary:  "Let it happen: windows grow, deviations open; by somebody else than whose entries it rests on",
		Security: needsPerson(key.DeviationsWrite)}, handle(s, s.confirmCascade))
}

func (s *server) listCascades(ctx context.Context, in *struct {
	Paging
	State string `query:"state" enum:"pending,confirmed,overtaken"`
}) (*listed[CascadeHead], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.Cascades(ctx, scope(ctx, ""), workflow.CascadeState(in.State), after, in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]CascadeHead, len(list))
	for i, c := range list {
		b, err := cascadeBody(c)
		if err != nil {
			return nil, err
		}
		items[i] = b.CascadeHead
	}
	q := map[string][]string{}
	if in.State != "" {
		q["state"] = []string{in.State}
	}
	return page(items, in.Paging, "/v1/cascades", q, func(c CascadeHead) string { return number(c.ID) }), nil
}

func (s *server) getCascade(ctx context.Context, in *CascadePath) (*cascadeAnswer, error) {
	c, err := s.svc.Cascade(ctx, scope(ctx, ""), workflow.CascadeID(in.ID))
	if err != nil {
		return nil, err
	}
	return cascade(c)
}

func (s *server) confirmCascade(ctx context.Context, in *struct {
	CascadePath
	Write
	IfMatch string `header:"If-Match" doc:"The ETag of the cascade that you looked at: the digest of its tree"`
}) (*cascadeAnswer, error) {
	if in.IfMatch == "" {
		return nil, newProblem(http.StatusPreconditionRequired, "precondition-required", "send If-Match with the ETag of the cascade that you looked at")
	}
	seen, err := hex.DecodeString(strings.TrimSuffix(strings.TrimPrefix(in.IfMatch, `"`), `"`))
	if err != nil || treeTag(seen) != in.IfMatch {
		return nil, newProblem(http.StatusPreconditionFailed, "precondition-failed", "this is no ETag of a cascade")
	}
	c, err := s.svc.ConfirmCascade(ctx, scope(ctx, in.IdempotencyKey), workflow.CascadeID(in.ID), seen)
	var f *fault.Error
	if errors.As(err, &f) && f.Rule == "preview-outdated" {
		b, bad := cascadeBody(c)
		if bad != nil {
			return nil, bad
		}
		p := newProblem(statuses[f.Kind], f.Rule, f.Detail)
		p.Instance, p.Cascade = requestID(ctx), &b
		return nil, p
	}
	if err != nil {
		return nil, err
	}
	return cascade(c)
}

// treeTag is the strong tag of a tree: it changes when the tree does and only
// then, whatever else happens to the cascade.
func treeTag(digest []byte) string { return `"` + hex.EncodeToString(digest) + `"` }

func cascade(c workflow.Cascade) (*cascadeAnswer, error) {
	b, err := cascadeBody(c)
	if err != nil {
		return nil, err
	}
	return &cascadeAnswer{treeTag(c.Digest), b}, nil
}

func cascadeBody(c workflow.Cascade) (CascadeBody, error) {
	f, err := c.Tree()
	if err != nil {
		return CascadeBody{}, err
	}
	h := CascadeHead{ID: int64(c.ID), Reference: c.Reference, State: string(c.State), StartedAt: clock(c.StartedAt), StartedBy: c.Actors,
		PreviewedAt: clock(c.PreviewedAt), RefreshDue: clockOr(c.RefreshDue), ConfirmedAt: clockOr(c.ConfirmedAt), ConfirmedBy: c.ConfirmedBy,
		SHA256: hex.EncodeToString(c.Digest), Checks: f.Checks, Instruments: f.Instruments, Windows: f.Windows, Lots: f.Lots}
	return CascadeBody{h, cascadeTree(f), exchange.Caution}, nil
}

func cascadeTree(f workflow.Foreseen) CascadeTree {
	return CascadeTree{f.Reference, cascadeBelow(f.Below)}
}

func cascadeBelow(list []workflow.ForeseenInstrument) []CascadeInstrument {
	out := []CascadeInstrument{}
	for _, in := range list {
		n := CascadeInstrument{Instrument: in.Instrument, Checks: []CascadeCheck{}, Windows: []CascadeWindow{}, Below: cascadeBelow(in.Below)}
		for _, c := range in.Checks {
			n.Checks = append(n.Checks, CascadeCheck{c.ID, clock(c.PerformedAt), c.Against, c.Change, c.Why})
		}
		for _, w := range in.Windows {
			n.Windows = append(n.Windows, cascadeWindow(w))
		}
		out = append(out, n)
	}
	return out
}

func cascadeWindow(w workflow.ForeseenWindow) CascadeWindow {
	out := CascadeWindow{Deviation: (*int64)(w.Deviation), FailedAt: clock(w.FailedAt), OpenedBy: w.OpenedBy, Becomes: w.Becomes, Reopens: w.Reopens,
		After: windowResult(w.After), Lots: []CascadeLot{}}
	if w.Before != nil {
		before := windowResult(*w.Before)
		out.Before = &before
	}
	for _, l := range w.Lots {
		out.Lots = append(out.Lots, CascadeLot{l.Lot, l.BecauseOf, l.InControl, l.Quantity, l.Unit, l.Location})
	}
	return out
}

func windowResult(s workflow.ForeseenSpan) exchange.WindowResult {
	return exchange.WindowResult{After: clockOr(s.After), Until: clockOr(s.Until)}
}
