package api

import (
	"context"
	"net/http"
	"net/url"
	"strconv"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow"
	"lastgood/workflow/key"
	"lastgood/workflow/reading"
)

// QuarantinedBody is a reading that is stored and not believed. It is a gap until
// somebody accepts it as it is.
type QuarantinedBody struct {
	ID         int64           `json:"id"`
	Instrument string          `json:"instrument"`
	TakenAt    Moment          `json:"taken_at"`
	Value      Digits          `json:"value" doc:"As it was sent"`
	Unit       string          `json:"unit" enum:"C,F,K"`
	Lot        string          `json:"lot,omitzero"`
	Limit      string          `json:"limit,omitzero"`
	Location   string          `json:"location,omitzero"`
	TakenBy    string          `json:"taken_by,omitzero"`
	Rule       string          `json:"rule"`
	Reason     string          `json:"reason" doc:"Why it is not believed"`
	RecordedAt Moment          `json:"recorded_at"`
	Resolution *ResolutionBody `json:"resolution,omitzero" doc:"Left out: nobody has decided"`
}

// ResolutionBody is what somebody decided on a reading.
type ResolutionBody struct {
	Verdict    string `json:"verdict" enum:"accepted,rejected"`
	Reason     string `json:"reason"`
	DecidedBy  string `json:"decided_by"`
	RecordedAt Moment `json:"recorded_at"`
}

func quarantinedBody(h reading.Held) QuarantinedBody {
	b := QuarantinedBody{h.ID, h.Instrument, moment(h.TakenAt), strconv.AppendFloat(nil, h.Value, 'f', int(h.Decimals), 64), h.Unit.String(),
		h.Lot, h.Limit, h.Location, h.TakenBy, h.Rule, h.Reason, moment(h.RecordedAt), nil}
	if r := h.Resolution; r != nil {
		b.Resolution = &ResolutionBody{string(r.Decision), r.Reason, r.DecidedBy, moment(r.At)}
	}
	return b
}

// QuarantineQuery says which readings in quarantine.
type QuarantineQuery struct {
	OfInstrument
	Open bool `query:"open" doc:"Only those on which nobody has decided"`
}

type quarantinedAnswer struct{ Body QuarantinedBody }

func (s *server) registerQuarantine(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "list-quarantine", Method: http.MethodGet, Path: "/v1/readings/quarantine",
		Summary: "Readings that are stored and not believed", Security: needs(key.FactsRead)}, handle(s, s.listQuarantine))
	huma.Register(api, huma.Operation{OperationID: "resolve-reading", Method: http.MethodPost, Path: "/v1/readings/quarantine/{id}/resolution",
		Summary: "Accept a reading in quarantine as it is, or reject it", Security: needs(key.DeviationsWrite),
		Description: "accepted: it becomes a reading as it is, and what it concerns is traced again. rejected: it stays a gap; what should have been " +
			"sent in its place may be sent with the same source_id. Nothing is converted here. A decision stands."}, handle(s, s.resolveReading))
}

func (s *server) listQuarantine(ctx context.Context, in *QuarantineQuery) (*listed[QuarantinedBody], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.Quarantine(ctx, scope(ctx, ""), in.of(), in.Open, after, in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]QuarantinedBody, len(list))
	for i, h := range list {
		items[i] = quarantinedBody(h)
	}
	query := url.Values(in.query())
	if in.Open {
		query.Set("open", "true")
	}
	return page(items, in.Paging, "/v1/readings/quarantine", query, func(b QuarantinedBody) string { return number(b.ID) }), nil
}

func (s *server) resolveReading(ctx context.Context, in *struct {
	Write
	ID   int64 `path:"id" minimum:"1"`
	Body struct {
		Verdict   string `json:"verdict" enum:"accepted,rejected"`
		Reason    string `json:"reason" minLength:"1" maxLength:"4000"`
		DecidedBy string `json:"decided_by" minLength:"1" maxLength:"100" doc:"The person; a key decides nothing"`
	}
}) (*quarantinedAnswer, error) {
	h, err := s.svc.ResolveReading(ctx, scope(ctx, in.IdempotencyKey), in.ID,
		workflow.Ruling{Decision: reading.Decision(in.Body.Verdict), Reason: in.Body.Reason, By: in.Body.DecidedBy})
	if err != nil {
		return nil, err
	}
	return &quarantinedAnswer{quarantinedBody(h)}, nil
}
