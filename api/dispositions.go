package api

import (
	"context"
	"fmt"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/exchange"
	"lastgood/policy/disposition"
	"lastgood/workflow"
	"lastgood/workflow/decision"
	"lastgood/workflow/key"
)

// ProposalBody is what somebody proposes for a portion.
type ProposalBody struct {
	Lot         string `json:"lot" minLength:"1" maxLength:"100"`
	Portion     string `json:"portion,omitempty" maxLength:"200" doc:"Its name; left out: what no other portion names"`
	Disposition string `json:"disposition" maxLength:"50" doc:"release, rework, reprocess, divert, destroy or retrieve; what is allowed stands with the portion"`
	Reason      string `json:"reason" maxLength:"2000"`
	Receiver    string `json:"receiver,omitempty" maxLength:"500" doc:"Of what is diverted, with the use"`
	IntoLot     string `json:"into_lot,omitempty" maxLength:"100" doc:"Of what is reworked"`
	Because     string `json:"because,omitempty" maxLength:"50" doc:"Why that lot leaves no doubt untraced: kill_step or limit_met; left out: it is in doubt too"`
}

// DispositionBody is what is to become of a portion, and what became of it.
type DispositionBody struct {
	ID          int64        `json:"id"`
	Deviation   int64        `json:"deviation"`
	Portion     PortionBody  `json:"portion"`
	Disposition string       `json:"disposition"`
	State       string       `json:"state" enum:"proposed,signed,executed,withdrawn,overtaken" doc:"signed: by everyone, and not carried out whole. overtaken: carried out, and not allowed by what is known now"`
	Reason      string       `json:"reason"`
	Receiver    *string      `json:"receiver"`
	IntoLot     *string      `json:"into_lot"`
	Because     *string      `json:"because"`
	ProposedAt  string       `json:"proposed_at"`
	ProposedBy  string       `json:"proposed_by"`
	Ended       *string      `json:"ended_because" doc:"Why it does not stand any more; null: it does"`
	Version     int          `json:"version"`
	Record      *RecordHead  `json:"record" doc:"What is signed before it is carried out"`
	Reports     []ReportBody `json:"reports" doc:"What was carried out, in the order of reporting"`
	Execution   *RecordHead  `json:"execution" doc:"What is signed afterwards; null: not all of it is reported"`
}

// DispositionPath names a disposition.
type DispositionPath struct {
	ID int64 `path:"id" minimum:"1"`
}

type dispositionAnswer struct {
	ETag string `header:"ETag"`
	Body DispositionBody
}

func (s *server) registerDispositions(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "propose-dispositions", Method: http.MethodPost, Path: "/v1/deviations/{id}/dispositions",
		Summary:       "Propose dispositions for portions, all of them or none; a proposal that stands for the portion is withdrawn by it",
		DefaultStatus: http.StatusCreated, Security: needsPerson(key.DeviationsWrite)}, handle(s, s.proposeDispositions))
	huma.Register(api, huma.Operation{OperationID: "get-disposition", Method: http.MethodGet, Path: "/v1/dispositions/{id}",
		Summary: "A disposition: what is signed, what was carried out", Security: needs(key.DeviationsRead)}, handle(s, s.getDisposition))
	huma.Register(api, huma.Operation{OperationID: "withdraw-disposition", Method: http.MethodPost, Path: "/v1/dispositions/{id}/withdrawal",
		Summary: "Take back a proposal that was not carried out", Security: needsPerson(key.DeviationsWrite)}, handle(s, s.withdrawDisposition))
}

func (s *server) proposeDispositions(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		Items []ProposalBody `json:"items" minItems:"1" maxItems:"1000"`
	}
}) (*struct{ Body Page[RecordHead] }, error) {
	list, err := proposals(in.Body.Items)
	if err != nil {
		return nil, err
	}
	records, err := s.svc.Propose(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), list)
	if err != nil {
		return nil, err
	}
	out := &struct{ Body Page[RecordHead] }{Page[RecordHead]{Items: []RecordHead{}}}
	for _, r := range records {
		out.Body.Items = append(out.Body.Items, recordHead(r))
	}
	return out, nil
}

func proposals(items []ProposalBody) ([]workflow.Proposal, error) {
	out := make([]workflow.Proposal, len(items))
	for i, b := range items {
		n := workflow.Proposal{Portion: b.Portion, Disposition: disposition.Disposition(b.Disposition), Reason: b.Reason, Receiver: b.Receiver, Because: b.Because}
		at := fmt.Sprintf("body.items[%d].", i)
		var err error
		if n.Lot, err = exchange.Mark(b.Lot, exchange.Product, at+"lot"); err != nil {
			return nil, err
		}
		if n.IntoLot, err = exchange.Mark(b.IntoLot, exchange.Product, at+"into_lot"); err != nil {
			return nil, err
		}
		out[i] = n
	}
	return out, nil
}

func (s *server) getDisposition(ctx context.Context, in *DispositionPath) (*dispositionAnswer, error) {
	return s.disposition(ctx, decision.ID(in.ID))
}

// disposition answers with a disposition as it stands.
func (s *server) disposition(ctx context.Context, id decision.ID) (*dispositionAnswer, error) {
	d, err := s.svc.Disposition(ctx, scope(ctx, ""), id)
	if err != nil {
		return nil, err
	}
	return &dispositionAnswer{etag(d.Version), dispositionBody(d)}, nil
}

func dispositionBody(d workflow.DispositionStory) DispositionBody {
	b := DispositionBody{int64(d.ID), d.Deviation, portionBody(d.Portion, d.Quantity), string(d.Kind), string(d.State), d.Reason, orNull(d.Receiver), orNull(d.IntoLot),
		orNull(d.Because), clock(d.At), d.By, orNull(d.Ended), d.Version, recordOrNull(d.Record), []ReportBody{}, recordOrNull(d.Execution)}
	for _, r := range d.Reports {
		b.Reports = append(b.Reports, reportBody(r))
	}
	return b
}

func (s *server) withdrawDisposition(ctx context.Context, in *struct {
	DispositionPath
	Write
	Body struct {
		Reason string `json:"reason" maxLength:"2000"`
	}
}) (*dispositionAnswer, error) {
	d, err := s.svc.WithdrawProposal(ctx, scope(ctx, in.IdempotencyKey), decision.ID(in.ID), in.Body.Reason)
	if err != nil {
		return nil, err
	}
	return s.disposition(ctx, d.ID)
}
