package workflow

import (
	"bytes"
	"context"
	"strings"
	"time"

	"lastgood/policy/disposition"
	"lastgood/policy/document"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/notify"
	"lastgood/workflow/pg"
)

// NewMessage is what was said to an authority, or what came from it.
type NewMessage struct {
	At        time.Time `json:"at"`
	Whom      string    `json:"whom"`   // the office and the person there
	Method    string    `json:"method"` // telephone, portal, e-mail …
	Person    string    `json:"person"` // who told them
	Text      string    `json:"text"`   // what was said; kept as it is
	Reference string    `json:"reference"`
}

// Tell records that an authority was told.
func (s *Service) Tell(ctx context.Context, sc pg.Scope, id notify.ID, m NewMessage) (Notified, error) {
	return s.message(ctx, sc, id, "tell", SendNotice, "sent", m)
}

// AmendNotice records that an authority was told of a change.
func (s *Service) AmendNotice(ctx context.Context, sc pg.Scope, id notify.ID, m NewMessage) (Notified, error) {
	return s.message(ctx, sc, id, "amend notice", ReviseNotice, "amended", m)
}

// NoticeReceived records the authority's receipt. A plant's system may post it.
func (s *Service) NoticeReceived(ctx context.Context, sc pg.Scope, id notify.ID, m NewMessage) (Notified, error) {
	return s.message(ctx, sc, id, "notice received", AcknowledgeNotice, "acknowledged", m)
}

// EndNotices records that the authority asks for nothing more.
func (s *Service) EndNotices(ctx context.Context, sc pg.Scope, id notify.ID, m NewMessage) (Notified, error) {
	return s.message(ctx, sc, id, "end notices", EndNotice, "done", m)
}

func (s *Service) message(ctx context.Context, sc pg.Scope, id notify.ID, what string, e Event, kind string, m NewMessage) (Notified, error) {
	request := map[string]any{"notification": id, "message": m}
	return do(ctx, s, sc, what, request, statusCreated, func(tx *pg.Tx) (out Notified, err error) {
		n, d, err := lockNotification(ctx, tx, id)
		if err != nil {
			return out, err
		}
		if e != AcknowledgeNotice {
			if err := asA(ctx, tx, disposition.RegulatoryLiaison, disposition.QALead, disposition.PlantManager); err != nil {
				return out, err
			}
		}
		if err := m.check(e, tx.Now); err != nil {
			return out, err
		}
		said, err := notify.MessagesOf(ctx, tx, n.Deviation)
		if err != nil {
			return out, err
		}
		row := notify.Message{Notification: id, Kind: kind, At: m.At, Whom: m.Whom, Method: m.Method, Person: m.Person, Reference: m.Reference}
		f, err := m.keep(ctx, tx, id, said, &row)
		if err != nil {
			return out, err
		}
		if e == SendNotice {
			n.SentAt = &m.At
		}
		if e == ReviseNotice { // they know of what has left since
			c, err := docketOf(ctx, tx, d)
			if err != nil {
				return out, err
			}
			n.Basis = c.leftDigest()
		}
		if err := move(ctx, tx, d, &n, e, f, map[string]any{"message": m, "text_sha256": row.Digest}, ""); err != nil {
			return out, err
		}
		if _, err := notify.Add(ctx, tx, row); err != nil {
			return out, err
		}
		if err := advance(ctx, tx, &d); err != nil {
			return out, err
		}
		return notifiedNow(ctx, tx, d, id)
	})
}

// notifiedNow returns a notification as it stands.
func notifiedNow(ctx context.Context, tx *pg.Tx, d Deviation, id notify.ID) (Notified, error) {
	c, err := docketOf(ctx, tx, d)
	if err != nil {
		return Notified{}, err
	}
	list, err := c.notifications(ctx, tx)
	if err != nil {
		return Notified{}, err
	}
	for _, n := range list {
		if n.ID == id {
			return n, nil
		}
	}
	return Notified{}, fault.New(fault.NotFound, "unknown-notification", "there is no notification %d", id)
}

func (m NewMessage) check(e Event, now time.Time) error {
	told := e == SendNotice || e == ReviseNotice
	switch {
	case m.At.IsZero() || m.At.After(now.Add(10*time.Minute)):
		return fault.New(fault.Invalid, "in-the-future", "say when it was: not in the future").In("at")
	case told && strings.TrimSpace(m.Whom) == "":
		return fault.New(fault.Invalid, "person-missing", "say who was told there: the office and the person").In("whom")
	case told && strings.TrimSpace(m.Person) == "":
		return fault.New(fault.Invalid, "person-missing", "say who told them").In("person")
	case told && strings.TrimSpace(m.Method) == "":
		return fault.New(fault.Invalid, "method-missing", "say how: by telephone, by the portal, by letter").In("method")
	}
	return nil
}

// keep keeps the text, and says what the guards want to know of it.
func (m NewMessage) keep(ctx context.Context, tx *pg.Tx, id notify.ID, said []notify.Message, row *notify.Message) (f NotificationFacts, err error) {
	f = NotificationFacts{Reference: strings.TrimSpace(m.Reference) != "", Text: strings.TrimSpace(m.Text) != ""}
	if !f.Text {
		return f, nil
	}
	if row.Digest, err = decision.Keep(ctx, tx, "text/plain; charset=utf-8", []byte(m.Text)); err != nil {
		return f, err
	}
	version := 1
	f.Another = true
	for _, o := range said {
		if o.Notification == id && o.Version != nil {
			version, f.Another = *o.Version+1, !bytes.Equal(o.Digest, row.Digest)
		}
	}
	row.Version = &version
	return f, nil
}

// NewRequest is that an authority asks for records.
type NewRequest struct {
	At   time.Time `json:"at"`
	Whom string    `json:"whom"` // who asks
	Asks string    `json:"asks"` // for what
}

// RecordsAsked records that an authority asks for traceability records, which
// starts a clock of its own.
func (s *Service) RecordsAsked(ctx context.Context, sc pg.Scope, id DeviationID, r NewRequest) (Notified, error) {
	request := map[string]any{"deviation": id, "request": r}
	return do(ctx, s, sc, "records asked", request, statusCreated, func(tx *pg.Tx) (out Notified, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return out, err
		}
		if err := asA(ctx, tx, disposition.RegulatoryLiaison, disposition.QALead, disposition.PlantManager); err != nil {
			return out, err
		}
		switch {
		case r.At.IsZero() || r.At.After(tx.Now.Add(10*time.Minute)):
			return out, fault.New(fault.Invalid, "in-the-future", "say when it was asked: not in the future").In("at")
		case strings.TrimSpace(r.Whom) == "" || strings.TrimSpace(r.Asks) == "":
			return out, fault.New(fault.Invalid, "person-missing", "say who asks, and for what").In("whom")
		}
		n, err := notify.Open(ctx, tx, int64(d.ID), requested)
		if err != nil {
			return out, err
		}
		n.Determined, n.ClockFrom = &r.At, &r.At
		if err := move(ctx, tx, d, &n, AskRecords, NotificationFacts{Asked: true}, map[string]any{"request": r}, ""); err != nil {
			return out, err
		}
		if err := advance(ctx, tx, &d); err != nil {
			return out, err
		}
		return notifiedNow(ctx, tx, d, n.ID)
	})
}

// requested is the authority that asks for records.
var requested = func() string {
	for _, a := range document.Authorities() {
		if a.Asked() {
			return a.ID
		}
	}
	panic("workflow: no authority asks for records")
}()
