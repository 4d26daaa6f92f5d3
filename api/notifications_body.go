package api

import (
	"context"
	"strings"
	"time"

	"lastgood/workflow"
	"lastgood/workflow/notify"
	"lastgood/workflow/pg"
)

func notificationBody(n workflow.Notified) NotificationBody {
	b := NotificationBody{Authority: n.Authority, Name: n.About.Name, Citation: n.About.Citation, Asks: n.About.Asks, Provenance: provenance(n.About.Read), State: n.State,
		DeterminedAt: clockOr(n.Determined), ClockFrom: clockOr(n.ClockFrom), SentAt: clockOr(n.SentAt), Outdated: n.Outdated, Messages: []NoticeMessage{}}
	if n.ID != 0 {
		id := int64(n.ID)
		b.ID = &id
	}
	for _, m := range n.Said {
		b.Messages = append(b.Messages, NoticeMessage{m.Kind, clock(m.At), m.Whom, m.Method, m.Person, m.Version, m.Digest, orNull(m.Reference), clock(m.RecordedAt), m.RecordedBy})
	}
	return b
}

// provenance says in a reader's words whether somebody opened the source of a row.
func provenance(row string) string {
	for _, p := range [][2]string{{"stored-copy (24 h", "24 h seen in a secondary source; the rest from memory"}, {"stored-copy", "seen in the source"}, {"memory", "from memory"}} {
		if strings.HasPrefix(row, p[0]) {
			return p[1]
		}
	}
	return row
}

func (s *server) getNotification(ctx context.Context, in *NotificationPath) (*notificationAnswer, error) {
	n, err := s.svc.Notification(ctx, scope(ctx, ""), notify.ID(in.ID))
	if err != nil {
		return nil, err
	}
	return &notificationAnswer{notificationBody(n)}, nil
}

// listNotifications is on one page: there are as many authorities as the policy
// names, and seldom a request.
func (s *server) listNotifications(ctx context.Context, in *DeviationPath) (*struct{ Body Page[NotificationBody] }, error) {
	list, err := s.svc.Notifications(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	out := &struct{ Body Page[NotificationBody] }{Page[NotificationBody]{Items: []NotificationBody{}}}
	for _, n := range list {
		out.Body.Items = append(out.Body.Items, notificationBody(n))
	}
	return out, nil
}

func (s *server) getCallSheet(ctx context.Context, in *DeviationPath) (*struct{ Body CallSheetBody }, error) {
	c, err := s.svc.CallSheet(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	return &struct{ Body CallSheetBody }{CallSheetBody{some(c.Type), some(c.Amount), c.Origin, some(c.Destination), some(c.Missing)}}, nil
}

// some is a list that is never null.
func some[T any](list []T) []T { return append([]T{}, list...) }

func (s *server) determine(ctx context.Context, in *struct {
	DeviationPath
	Write
	Authority string `path:"authority" maxLength:"50"`
	Body      struct {
		Required bool   `json:"required"`
		Reason   string `json:"reason" maxLength:"4000"`
		Grounds  string `json:"grounds,omitempty" enum:"not_serious,three_part_exception,not_its_product" doc:"Of not required"`
	}
}) (*toSign, error) {
	r, err := s.svc.Determine(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), in.Authority,
		workflow.NewDetermination{Required: in.Body.Required, Reason: in.Body.Reason, Grounds: in.Body.Grounds})
	if err != nil {
		return nil, err
	}
	return &toSign{recordHead(r)}, nil
}

func (s *server) recordsAsked(ctx context.Context, in *struct {
	DeviationPath
	Write
	Body struct {
		At   string `json:"at"`
		Whom string `json:"whom" maxLength:"300" doc:"Who asks"`
		Asks string `json:"asks" maxLength:"4000" doc:"For what"`
	}
}) (*notificationAnswer, error) {
	at, err := timeOr(in.Body.At, "body.at", time.Time{})
	if err != nil {
		return nil, err
	}
	n, err := s.svc.RecordsAsked(ctx, scope(ctx, in.IdempotencyKey), workflow.DeviationID(in.ID), workflow.NewRequest{At: at, Whom: in.Body.Whom, Asks: in.Body.Asks})
	if err != nil {
		return nil, err
	}
	return &notificationAnswer{notificationBody(n)}, nil
}

// told makes a handler of a command that records a message.
func told(s *server, record func(context.Context, pg.Scope, notify.ID, workflow.NewMessage) (workflow.Notified, error)) func(context.Context, *NewMessageInput) (*notificationAnswer, error) {
	return func(ctx context.Context, in *NewMessageInput) (*notificationAnswer, error) {
		b := in.Body
		at, err := timeOr(b.At, "body.at", time.Time{})
		if err != nil {
			return nil, err
		}
		n, err := record(ctx, scope(ctx, in.IdempotencyKey), notify.ID(in.ID),
			workflow.NewMessage{At: at, Whom: b.Whom, Method: b.Method, Person: b.Person, Text: b.Text, Reference: b.Reference})
		if err != nil {
			return nil, err
		}
		return &notificationAnswer{notificationBody(n)}, nil
	}
}
