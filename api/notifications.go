package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow/key"
)

// NotificationBody is one authority in one deviation.
type NotificationBody struct {
	ID           *int64          `json:"id" doc:"null: nobody has assessed it yet"`
	Authority    string          `json:"authority" example:"fsis"`
	Name         string          `json:"name"`
	Citation     string          `json:"citation"`
	Asks         string          `json:"asks" doc:"What it asks for, in our words"`
	Provenance   string          `json:"provenance" doc:"Whether somebody opened the source"`
	State        string          `json:"state" enum:"not_assessed,assessing,required,not_required,sent,acknowledged,amended,done"`
	DeterminedAt *string         `json:"determined_at" doc:"By the last signature, or when the authority asked"`
	ClockFrom    *string         `json:"clock_from" doc:"null: no clock runs"`
	SentAt       *string         `json:"sent_at"`
	Outdated     bool            `json:"outdated" doc:"What is known to have left has changed since"`
	Messages     []NoticeMessage `json:"messages"`
}

// NoticeMessage is what was said to an authority, or what came from it.
type NoticeMessage struct {
	Kind        string  `json:"kind" enum:"sent,acknowledged,amended,done"`
	At          string  `json:"at"`
	Whom        string  `json:"whom"`
	Method      string  `json:"method"`
	Person      string  `json:"person"`
	TextVersion *int    `json:"text_version" doc:"null: nothing was said"`
	TextSHA256  []byte  `json:"text_sha256,omitempty" doc:"Of the text, which is kept"`
	Reference   *string `json:"reference"`
	RecordedAt  string  `json:"recorded_at"`
	RecordedBy  string  `json:"recorded_by"`
}

// NewMessageBody is what was said, or what came.
type NewMessageBody struct {
	At        string `json:"at" doc:"When it was"`
	Whom      string `json:"whom,omitempty" maxLength:"300" doc:"The office and the person there"`
	Method    string `json:"method,omitempty" maxLength:"100" doc:"By telephone, portal, letter"`
	Person    string `json:"person,omitempty" maxLength:"200" doc:"Who told them"`
	Text      string `json:"text,omitempty" maxLength:"100000" doc:"What was said, word for word"`
	Reference string `json:"reference,omitempty" maxLength:"300" doc:"The authority's"`
}

// CallSheetBody is what the FSIS District Office is told.
type CallSheetBody struct {
	Type        []string `json:"type"`
	Amount      []string `json:"amount"`
	Origin      string   `json:"origin"`
	Destination []string `json:"destination"`
	Missing     []string `json:"missing" doc:"What nobody has recorded"`
}

// NotificationPath names a notification.
type NotificationPath struct {
	ID int64 `path:"id" minimum:"1"`
}

// NewMessageInput is a message on a notification.
type NewMessageInput struct {
	NotificationPath
	Write
	Body NewMessageBody
}

type notificationAnswer struct{ Body NotificationBody }

func (s *server) registerNotifications(api huma.API) {
	read, tell := needs(key.DeviationsRead), needsPerson(key.DeviationsWrite)
	either := append(needs(key.DeviationsWrite), tell...)
	huma.Register(api, huma.Operation{OperationID: "list-notifications", Method: http.MethodGet, Path: "/v1/deviations/{id}/notifications",
		Summary: "Every authority that concerns the plant, whether it must be told, and what was said", Security: read}, handle(s, s.listNotifications))
	huma.Register(api, huma.Operation{OperationID: "get-notification", Method: http.MethodGet, Path: "/v1/notifications/{id}",
		Summary: "One authority in one deviation, and what was said", Security: read}, handle(s, s.getNotification))
	huma.Register(api, huma.Operation{OperationID: "get-call-sheet", Method: http.MethodGet, Path: "/v1/deviations/{id}/call-sheet",
		Summary: "What the FSIS District Office is told: type, amount, origin, destination", Security: read}, handle(s, s.getCallSheet))
	huma.Register(api, huma.Operation{OperationID: "determine-notification", Method: http.MethodPost, Path: "/v1/deviations/{id}/notifications/{authority}/determination",
		Summary:       "Put up for signing whether an authority must be told; the clock starts with the last signature",
		DefaultStatus: http.StatusCreated, Security: tell}, handle(s, s.determine))
	huma.Register(api, huma.Operation{OperationID: "record-request", Method: http.MethodPost, Path: "/v1/deviations/{id}/record-requests",
		Summary: "Record that an authority asks for traceability records", DefaultStatus: http.StatusCreated, Security: tell}, handle(s, s.recordsAsked))
	for _, op := range []struct {
		id, path, summary string
		security          []map[string][]string
		do                func(context.Context, *NewMessageInput) (*notificationAnswer, error)
	}{
		{"tell-authority", "notices", "Record that an authority was told", tell, told(s, s.svc.Tell)},
		{"receive-notice", "receipts", "Record the authority's receipt; a plant's system may", either, told(s, s.svc.NoticeReceived)},
		{"amend-notice", "amendments", "Record that an authority was told of a change", tell, told(s, s.svc.AmendNotice)},
		{"end-notices", "completion", "Record that the authority asks for nothing more", tell, told(s, s.svc.EndNotices)},
	} {
		huma.Register(api, huma.Operation{OperationID: op.id, Method: http.MethodPost, Path: "/v1/notifications/{id}/" + op.path,
			Summary: op.summary, DefaultStatus: http.StatusCreated, Security: op.security}, handle(s, op.do))
	}
}
