package api

import (
	"context"

	"github.com/go-json-experiment/json/jsontext"

	"lastgood/api/exchange"
	"lastgood/workflow"
)

// HappeningsFact is events and checks that are recorded together.
type HappeningsFact struct {
	Events []EventFact `json:"events,omitzero" maxItems:"5000"`
	Checks []CheckFact `json:"checks,omitzero" maxItems:"5000"`
}

// HappenedBody says what became of them.
type HappenedBody struct {
	Events   CountsBody `json:"events"`
	Checks   CountsBody `json:"checks"`
	Opened   []int64    `json:"opened" doc:"Deviations that this opened"`
	Cascades []int64    `json:"cascades" doc:"Cascades that wait for somebody else to confirm them"`
}

type happenedAnswer struct{ Body HappenedBody }

func (s *server) recordHappenings(ctx context.Context, in *FactsIn) (*happenedAnswer, error) {
	text, err := in.text()
	if err != nil {
		return nil, err
	}
	var body struct {
		Events []jsontext.Value `json:"events"`
		Checks []jsontext.Value `json:"checks"`
	}
	if err := unmarshal(text, &body); err != nil {
		return nil, err
	}
	if n := max(len(body.Events), len(body.Checks)); n == 0 || n > mostItems {
		return nil, badList(n)
	}
	var h workflow.Happenings
	var bad workflow.HappeningFaults
	h.Events, bad.Events = exchange.Events(body.Events)
	h.Checks, bad.Checks = exchange.Checks(body.Checks)
	if len(bad.Events)+len(bad.Checks) > 0 {
		return nil, &bad
	}
	a, err := s.svc.RecordCounted(ctx, scope(ctx, in.IdempotencyKey), h)
	if err != nil {
		return nil, err
	}
	out := &happenedAnswer{HappenedBody{countsBody(a.Events), countsBody(a.Checks), []int64{}, []int64{}}}
	for _, d := range a.Opened {
		out.Body.Opened = append(out.Body.Opened, int64(d.ID))
	}
	for _, id := range a.Cascades {
		out.Body.Cascades = append(out.Body.Cascades, int64(id))
	}
	return out, nil
}
