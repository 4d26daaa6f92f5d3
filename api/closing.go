package api

import (
	"context"
	"math/big"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/policy/balance"
	"lastgood/workflow"
	"lastgood/workflow/key"
)

// ReasonBody is something that stands in the way of closing.
type ReasonBody struct {
	Code   string `json:"code" doc:"Stable; new ones may come" example:"open_hold"`
	Detail string `json:"detail" doc:"One sentence for a person"`
	Link   string `json:"link" doc:"Where it is mended"`
}

// ClosingBody is whether a deviation may be closed.
type ClosingBody struct {
	Deviation int64        `json:"deviation"`
	Reasons   []ReasonBody `json:"reasons" doc:"Everything that stands in the way; empty: nothing does"`
}

// BalanceBody is the mass balance of one lot in doubt.
type BalanceBody struct {
	Lot         string           `json:"lot"`
	Unit        string           `json:"unit"`
	Closing     string           `json:"closing" enum:"closes,closes_when_signed,cannot_close"`
	From        string           `json:"from" doc:"Made, received and brought in"`
	Where       string           `json:"where" doc:"Where it is, all together"`
	InDoubt     *string          `json:"in_doubt" doc:"null: not known"`
	Lines       []BalanceLine    `json:"lines" doc:"As carried out, and until then as decided"`
	Undecided   string           `json:"undecided"`
	Unaccounted *string          `json:"unaccounted" doc:"Negative: more was accounted for than there was; null: not known"`
	Allowed     *string          `json:"allowed" doc:"How much may be unaccounted, with a signature; null: not known"`
	Retrieved   string           `json:"retrieved"`
	Findings    []BalanceFinding `json:"findings"`
}

// BalanceLine is how much went one way.
type BalanceLine struct {
	Fate   string `json:"fate"`
	Amount string `json:"amount"`
}

// BalanceFinding is something that does not add up.
type BalanceFinding struct {
	Rule   string `json:"rule"`
	Blocks string `json:"blocks" doc:"What it stands in the way of"`
	Detail string `json:"detail"`
}

func (s *server) registerClosing(api huma.API) {
	read, decide := needs(key.DeviationsRead), needsPerson(key.DeviationsWrite)
	huma.Register(api, huma.Operation{OperationID: "get-balance", Method: http.MethodGet, Path: "/v1/deviations/{id}/balance",
		Summary: "The mass balance of every lot in doubt", Security: read}, handle(s, s.getBalance))
	huma.Register(api, huma.Operation{OperationID: "get-closing", Method: http.MethodGet, Path: "/v1/deviations/{id}/closing",
		Summary: "Everything that stands in the way of closing", Security: read}, handle(s, s.getClosing))
	huma.Register(api, huma.Operation{OperationID: "ask-to-close", Method: http.MethodPost, Path: "/v1/deviations/{id}/closing",
		Summary:       "Put the closing up for two to sign; with anything in the way it is refused, with all reasons",
		DefaultStatus: http.StatusCreated, Security: decide}, handle(s, s.askToClose))
	huma.Register(api, huma.Operation{OperationID: "reopen-deviation", Method: http.MethodPost, Path: "/v1/deviations/{id}/reopening",
		Summary: "Reopen a closed deviation for a reason; what is recorded late reopens it by itself", Security: decide}, handle(s, s.reopenDeviation))
	huma.Register(api, huma.Operation{OperationID: "ask-to-cancel", Method: http.MethodPost, Path: "/v1/deviations/{id}/cancellation",
		Summary:       "Put up for signing that the failed check was no check, as a repeat shows; it stays in the log",
		DefaultStatus: http.StatusCreated, Security: needsPerson(recordsSign)}, handle(s, s.askToCancel))
}

func reasonBodies(list []workflow.Reason) []ReasonBody {
	out := make([]ReasonBody, len(list))
	for i, r := range list {
		out[i] = ReasonBody{r.Code, r.Detail, r.Link}
	}
	return out
}

func (s *server) getClosing(ctx context.Context, in *DeviationPath) (*struct{ Body ClosingBody }, error) {
	list, err := s.svc.InTheWay(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	return &struct{ Body ClosingBody }{ClosingBody{in.ID, reasonBodies(list)}}, nil
}

func (s *server) askToClose(ctx context.Context, in *struct {
	DeviationPath
	Write
}) (*toSign, error) {
	r, err := s.svc.AskToClose(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	return &toSign{recordHead(r)}, nil
}

func (s *server) reopenDeviation(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Trigger string `json:"trigger" maxLength:"50"`
		Reason  string `json:"reason" maxLength:"2000"`
	}
}) (*deviationAnswer, error) {
	id := workflow.DeviationID(in.ID)
	if _, err := s.svc.Reopen(ctx, scope(ctx, in.IdempotencyKey), id, in.Body.Trigger, in.Body.Reason); err != nil {
		return nil, err
	}
	return s.deviation(ctx, id)
}

func (s *server) askToCancel(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Repeat int64  `json:"repeat" minimum:"1" doc:"The check that was made again and passed"`
		Reason string `json:"reason" maxLength:"2000" doc:"What was wrong with the failed one"`
	}
}) (*toSign, error) {
	r, err := s.svc.Cancel(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), in.Body.Repeat, in.Body.Reason)
	if err != nil {
		return nil, err
	}
	return &toSign{recordHead(r)}, nil
}

// getBalance is on one page: there is one row for each lot in doubt, as in the
// deviation itself.
func (s *server) getBalance(ctx context.Context, in *DeviationPath) (*struct{ Body Page[BalanceBody] }, error) {
	list, err := s.svc.Balances(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	out := &struct{ Body Page[BalanceBody] }{Page[BalanceBody]{Items: []BalanceBody{}}}
	for _, b := range list {
		out.Body.Items = append(out.Body.Items, balanceBody(b))
	}
	return out, nil
}

func balanceBody(b workflow.Balanced) BalanceBody {
	st := b.Statement
	out := BalanceBody{st.Lot, st.Unit, string(st.Closing), sumOf(st.From), sumOf(st.Where), sumOr(st.InDoubt), []BalanceLine{}, sumOf(st.Undecided),
		sumOr(st.Unaccounted), sumOr(st.Allowed), sumOf(st.Retrieved), []BalanceFinding{}}
	for _, l := range st.Lines {
		out.Lines = append(out.Lines, BalanceLine{string(l.Fate), sumOf(l.Amount)})
	}
	for _, f := range b.Findings {
		out.Findings = append(out.Findings, BalanceFinding{string(f.Rule), string(f.Blocks), f.Detail})
	}
	return out
}

func sumOr(r *big.Rat) *string {
	if r == nil {
		return nil
	}
	s := balance.Decimal(r)
	return &s
}

// sumOf is a sum; of none it is nothing.
func sumOf(r *big.Rat) string {
	if r == nil {
		return "0"
	}
	return balance.Decimal(r)
}
