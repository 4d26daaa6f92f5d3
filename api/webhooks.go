package api

import (
	"context"
	"encoding/base64"
	"math"
	"net/http"
	"strconv"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-json-experiment/json"

	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
	"lastgood/workflow/trail"
)

// WebhookBody is to whom events are sent.
type WebhookBody struct {
	ID           int64    `json:"id"`
	URL          string   `json:"url"`
	Events       []string `json:"events" doc:"Types; empty: all"`
	CreatedAt    string   `json:"created_at"`
	CreatedBy    string   `json:"created_by"`
	DisabledAt   *string  `json:"disabled_at" doc:"Since the receiver answered 410 Gone; null: it is sent events"`
	FailingSince *string  `json:"failing_since" doc:"Since when nothing arrives; null: the last message did"`
	LastFailure  *string  `json:"last_failure"`
	Secret       *string  `json:"secret" doc:"By which messages are signed; shown only in the answer that made it"`
}

type webhookAnswer struct{ Body WebhookBody }

// OutboxBody is an event with its place among all of the plant's.
type OutboxBody struct {
	Position int64       `json:"position" doc:"Ask for those after it to go on without a gap"`
	Event    trail.Event `json:"event"`
}

// EscalationBody is that a hold waited too long to be acknowledged.
type EscalationBody struct {
	ID        int64    `json:"id"`
	Hold      int64    `json:"hold"`
	Deviation int64    `json:"deviation" doc:"0: none"`
	Lot       string   `json:"lot"`
	Step      int      `json:"step" doc:"The first time 1, then 2, …"`
	RaisedAt  string   `json:"raised_at"`
	Roles     []string `json:"roles" doc:"Who is told"`
	Text      string   `json:"text"`
}

func (s *server) registerWebhooks(api huma.API) {
	write := needs(key.WebhooksWrite)
	huma.Register(api, huma.Operation{OperationID: "add-webhook", Method: http.MethodPost, Path: "/v1/webhooks",
		Summary:       "Send events to an address from now on, signed as Standard Webhooks 1.0.0 says; the secret is shown this once",
		DefaultStatus: http.StatusCreated, Security: write}, handle(s, s.addWebhook))
	huma.Register(api, huma.Operation{OperationID: "list-webhooks", Method: http.MethodGet, Path: "/v1/webhooks",
		Summary: "To whom events are sent, and whether they arrive", Security: write}, handle(s, s.listWebhooks))
	huma.Register(api, huma.Operation{OperationID: "remove-webhook", Method: http.MethodDelete, Path: "/v1/webhooks/{id}",
		Summary: "Send nothing more there", DefaultStatus: http.StatusNoContent, Security: write}, handle(s, s.removeWebhook))
	huma.Register(api, huma.Operation{OperationID: "list-outbox", Method: http.MethodGet, Path: "/v1/outbox",
		Summary:  "Events in order, to catch up with what did not arrive; whoever goes on from the last position misses none",
		Security: needs(key.DeviationsRead)}, handle(s, s.listOutbox))
	huma.Register(api, huma.Operation{OperationID: "list-escalations", Method: http.MethodGet, Path: "/v1/escalations",
		Summary:  "Escalations of holds that still wait to be acknowledged in full, newest first",
		Security: needs(key.DeviationsRead)}, handle(s, s.listEscalations))
}

func webhookBody(w workflow.Webhook) WebhookBody {
	b := WebhookBody{ID: w.ID, URL: w.URL, Events: w.Events, CreatedAt: clock(w.CreatedAt), CreatedBy: w.CreatedBy,
		DisabledAt: clockOr(w.DisabledAt), FailingSince: clockOr(w.FailingSince), LastFailure: w.LastFailure}
	if b.Events == nil {
		b.Events = []string{}
	}
	return b
}

func (s *server) addWebhook(ctx context.Context, in *struct {
	Write
	Body struct {
		URL    string   `json:"url" minLength:"1" maxLength:"2000"`
		Events []string `json:"events,omitempty" maxItems:"50" doc:"Types; left out: all"`
	}
}) (*webhookAnswer, error) {
	w, err := s.svc.AddWebhook(ctx, scope(ctx, in.IdempotencyKey), in.Body.URL, in.Body.Events)
	if err != nil {
		return nil, err
	}
	b := webhookBody(w)
	secret := "whsec_" + base64.StdEncoding.EncodeToString(w.Secret) // Standard Webhooks 1.0.0
	b.Secret = &secret
	return &webhookAnswer{b}, nil
}

func (s *server) listWebhooks(ctx context.Context, in *Paging) (*listed[WebhookBody], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	list, err := s.svc.Webhooks(ctx, scope(ctx, ""), after, in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]WebhookBody, len(list))
	for i, w := range list {
		items[i] = webhookBody(w)
	}
	return page(items, *in, "/v1/webhooks", nil, func(w WebhookBody) string { return strconv.FormatInt(w.ID, 10) }), nil
}

func (s *server) removeWebhook(ctx context.Context, in *struct {
	ID int64 `path:"id" minimum:"1"`
}) (*struct{}, error) {
	return nil, s.svc.RemoveWebhook(ctx, scope(ctx, ""), in.ID)
}

func (s *server) listOutbox(ctx context.Context, in *struct {
	Paging
	After int64 `query:"after" minimum:"0" doc:"The position of the last event that arrived"`
}) (*listed[OutboxBody], error) {
	after, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	if after > 0 && in.After > 0 {
		return nil, fault.New(fault.Invalid, "bad-cursor", "give after or cursor, not both").In("query.cursor")
	}
	list, err := s.svc.PublishedEvents(ctx, scope(ctx, ""), max(after, in.After), in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]OutboxBody, len(list))
	for i, e := range list {
		items[i].Position = e.Position
		if err := json.Unmarshal(e.Body, &items[i].Event); err != nil {
			return nil, err
		}
	}
	return page(items, in.Paging, "/v1/outbox", nil, func(e OutboxBody) string { return strconv.FormatInt(e.Position, 10) }), nil
}

func (s *server) listEscalations(ctx context.Context, in *Paging) (*listed[EscalationBody], error) {
	before, err := in.afterNumber()
	if err != nil {
		return nil, err
	}
	if before == 0 {
		before = math.MaxInt64
	}
	list, err := s.svc.Escalations(ctx, scope(ctx, ""), before, in.Limit+1)
	if err != nil {
		return nil, err
	}
	items := make([]EscalationBody, len(list))
	for i, e := range list {
		items[i] = EscalationBody{e.ID, int64(e.Hold), e.Deviation, e.Lot, e.Step, clock(e.RaisedAt), e.Roles, e.Text}
	}
	return page(items, *in, "/v1/escalations", nil, func(e EscalationBody) string { return strconv.FormatInt(e.ID, 10) }), nil
}
