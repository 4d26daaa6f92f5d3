package api

import (
	"context"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow"
	"lastgood/workflow/key"
)

// ClockBody is a time within which something is to be done. Its times are in the
// plant's zone.
type ClockBody struct {
	Deviation  int64    `json:"deviation"`
	Kind       string   `json:"kind" enum:"notice,determination,rule,record_review,recall_status"`
	What       string   `json:"what"`
	State      string   `json:"state" enum:"running,met,missed,met_late"`
	StartedAt  Moment   `json:"started_at"`
	DueAt      Moment   `json:"due_at" doc:"Until then; the end of a day is the first moment of the next"`
	LateAfter  Moment   `json:"late_after" doc:"From when it counts as missed: later than due_at only where it is due at once"`
	MetAt      *string  `json:"met_at"`
	Basis      string   `json:"basis" doc:"The citation, or what asks for it"`
	Obligation *string  `json:"obligation" doc:"Row of the published obligations"`
	Reasons    []string `json:"reasons" doc:"How it was counted"`
	EscalateAt []Moment `json:"escalate_at" doc:"When people are told again of what is due at once"`
}

func (s *server) registerClocks(api huma.API) {
	read := needs(key.DeviationsRead)
	huma.Register(api, huma.Operation{OperationID: "list-deviation-clocks", Method: http.MethodGet, Path: "/v1/deviations/{id}/clocks",
		Summary: "Every clock of a deviation, in the order of falling due", Security: read}, handle(s, s.listDeviationClocks))
	huma.Register(api, huma.Operation{OperationID: "list-clocks", Method: http.MethodGet, Path: "/v1/clocks",
		Summary: "The clocks of the plant, in the order of falling due", Security: read}, handle(s, s.listClocks))
}

func clockBody(k workflow.Clock) ClockBody {
	b := ClockBody{int64(k.Deviation), k.Kind, k.What, string(k.State), local(k.StartedAt), local(k.DueAt), local(k.LateAfter), nil, k.Basis, obligation(k.Row), some(k.Reasons), []Moment{}}
	if k.MetAt != nil {
		m := string(local(k.MetAt.In(k.DueAt.Location())))
		b.MetAt = &m
	}
	for _, at := range k.EscalateAt {
		b.EscalateAt = append(b.EscalateAt, local(at))
	}
	return b
}

// obligation says which row of what the tool ships the clock rests on.
func obligation(row string) *string {
	if row == "" {
		return nil
	}
	return new("row " + row + " of the published obligations that come with this tool")
}

// local writes a time as it was where the plant is, with its offset.
func local(t time.Time) Moment { return Moment(t.Format(time.RFC3339Nano)) }

func clockBodies(list []workflow.Clock) *struct{ Body Page[ClockBody] } {
	out := &struct{ Body Page[ClockBody] }{Page[ClockBody]{Items: []ClockBody{}}}
	for _, k := range list {
		out.Body.Items = append(out.Body.Items, clockBody(k))
	}
	return out
}

func (s *server) listDeviationClocks(ctx context.Context, in *DeviationPath) (*struct{ Body Page[ClockBody] }, error) {
	list, err := s.svc.Clocks(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	return clockBodies(list), nil
}

func (s *server) listClocks(ctx context.Context, in *struct {
	Open bool `query:"open" doc:"Only what is not done"`
}) (*struct{ Body Page[ClockBody] }, error) {
	list, err := s.svc.AllClocks(ctx, scope(ctx, ""), in.Open)
	if err != nil {
		return nil, err
	}
	return clockBodies(list), nil
}
