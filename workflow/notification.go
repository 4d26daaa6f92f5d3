package workflow

import (
	"context"
	"fmt"
	"slices"

	"lastgood/policy/document"
	"lastgood/workflow/fault"
	"lastgood/workflow/notify"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// The states of a notification, one an authority.
const (
	NotAssessed State = "not_assessed"
	// Assessing: a determination is put up for signing. Next: those who sign it.
	Assessing State = "assessing"
	// Required: determined; the clock runs. Next: the liaison.
	Required           State = "required"
	NotRequired        State = "not_required"
	NoticeSent         State = "sent"
	NoticeAcknowledged State = "acknowledged" // the authority has it, under its reference
	NoticeAmended      State = "amended"      // told again, since something changed
	NoticeDone         State = "done"         // the authority asks for nothing more
)

// The events of a notification.
const (
	Assess            Event = "assess"
	Require           Event = "require"
	Exempt            Event = "exempt"
	AskRecords        Event = "ask_records"
	SendNotice        Event = "send"
	AcknowledgeNotice Event = "acknowledge"
	ReviseNotice      Event = "amend"
	EndNotice         Event = "end"
)

// NotificationFacts is what the guards of a notification look at.
type NotificationFacts struct {
	Traced    bool // there is a run that says what is in doubt
	Yes, No   bool // determined so, signed by everyone, on what is known to have left
	Asked     bool // it is the answer to a request
	Text      bool // what was said is kept
	Another   bool // and differs from what was said before
	Reference bool // the authority's, for its receipt
}

// notificationTrack is the written procedure of telling one authority.
var notificationTrack = Track[NotificationFacts]{
	Name:   "notification",
	States: []State{NotAssessed, Assessing, Required, NotRequired, NoticeSent, NoticeAcknowledged, NoticeAmended, NoticeDone},
	Steps: []Step[NotificationFacts]{
		{"design notes on the procedure, T06: each authority is assessed", from(NotAssessed, Required, NotRequired), Assess, Assessing, aPerson, needs(somethingTraced)},
		{"design notes on the procedure, T31: a signed event starts the clock", from(Assessing), Require, Required, aPerson, needs(determinedYes)},
		{"design notes on the procedure, T32: not without a second reviewer", from(Assessing), Exempt, NotRequired, aPerson, needs(determinedNo)},
		{"21 CFR 1.1455(c): records within 24 h of the request", from(NotAssessed), AskRecords, Required, aPerson, needs(requestMade)},
		{"9 CFR 418.2, 21 USC 350f(d)(1): told in time", from(Required), SendNotice, NoticeSent, aPerson, needs(textKept)},
		{"common practice: a notice is given when it was received", from(NoticeSent, NoticeAmended), AcknowledgeNotice, NoticeAcknowledged, anyone, needs(referenceGiven)},
		{"21 USC 350f(d)(6): an amended report keeps its number", from(NoticeSent, NoticeAcknowledged, NoticeDone), ReviseNotice, NoticeAmended, aPerson, needs(textKept, anotherText)},
		{"common practice: until the authority asks for nothing more", from(NoticeAcknowledged, NoticeAmended), EndNotice, NoticeDone, aPerson, nil},
	},
}

var (
	somethingTraced = Guard[NotificationFacts]{"a trace run stored", func(f NotificationFacts) bool { return f.Traced }}
	determinedYes   = Guard[NotificationFacts]{"a determination that it is required, signed by everyone", func(f NotificationFacts) bool { return f.Yes }}
	determinedNo    = Guard[NotificationFacts]{"a determination that it is not required, signed by both", func(f NotificationFacts) bool { return f.No }}
	requestMade     = Guard[NotificationFacts]{"a request of the authority", func(f NotificationFacts) bool { return f.Asked }}
	textKept        = Guard[NotificationFacts]{"the text of what was said", func(f NotificationFacts) bool { return f.Text }}
	anotherText     = Guard[NotificationFacts]{"a text that differs from the last", func(f NotificationFacts) bool { return f.Another }}
	referenceGiven  = Guard[NotificationFacts]{"the authority's reference", func(f NotificationFacts) bool { return f.Reference }}
)

// Notified is a notification with everything that was said.
type Notified struct {
	notify.Notification
	About document.Authority
	Said  []notify.Message
	// Outdated: product has left that the determination did not know of.
	Outdated bool
}

// Notifications returns every authority of a deviation: those that concern the
// plant, though nobody has assessed them, and the requests for records.
func (s *Service) Notifications(ctx context.Context, sc pg.Scope, id DeviationID) ([]Notified, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]Notified, error) {
		c, err := docketAt(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		return c.notifications(ctx, tx)
	})
}

// Notification returns one of them. fault.NotFound: there is none.
func (s *Service) Notification(ctx context.Context, sc pg.Scope, id notify.ID) (Notified, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (Notified, error) {
		n, err := notify.Get(ctx, tx, id)
		if err != nil {
			return Notified{}, err
		}
		c, err := docketAt(ctx, tx, DeviationID(n.Deviation))
		if err != nil {
			return Notified{}, err
		}
		list, err := c.notifications(ctx, tx)
		if err != nil {
			return Notified{}, err
		}
		i := slices.IndexFunc(list, func(o Notified) bool { return o.ID == id })
		return list[i], nil
	})
}

func (c *docket) notifications(ctx context.Context, tx *pg.Tx) ([]Notified, error) {
	list, err := notify.Of(ctx, tx, int64(c.d.ID))
	if err != nil {
		return nil, err
	}
	said, err := notify.MessagesOf(ctx, tx, int64(c.d.ID))
	if err != nil {
		return nil, err
	}
	for _, a := range c.policy.Concern() {
		if !slices.ContainsFunc(list, func(n notify.Notification) bool { return n.Authority == a.ID }) {
			list = append(list, notify.Notification{Deviation: int64(c.d.ID), Authority: a.ID, State: string(NotAssessed)})
		}
	}
	basis := c.leftDigest()
	out := make([]Notified, len(list))
	for i, n := range list {
		a, _ := document.AuthorityOf(n.Authority)
		out[i] = Notified{Notification: n, About: a, Outdated: n.Basis != nil && string(n.Basis) != string(basis)}
		for _, m := range said {
			if m.Notification == n.ID {
				out[i].Said = append(out[i].Said, m)
			}
		}
	}
	return out, nil
}

// move lets an event happen to a notification and tells the trail.
func move(ctx context.Context, tx *pg.Tx, d Deviation, n *notify.Notification, e Event, f NotificationFacts, after map[string]any, reason string) error {
	before := n.State
	to, err := notificationTrack.Next(ctx, State(n.State), e, tx.By.Kind, f)
	if err != nil {
		return err
	}
	n.State = string(to)
	if err := notify.Put(ctx, tx, *n); err != nil {
		return err
	}
	n.Version++
	after["state"] = to
	return trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "notification." + string(e), Subject: fmt.Sprintf("%s %d", n.Authority, n.ID),
		Version: n.Version, Before: before, After: after, Reason: reason})
}

// lockNotification takes the deviation of a notification, and then the notification.
func lockNotification(ctx context.Context, tx *pg.Tx, id notify.ID) (n notify.Notification, d Deviation, err error) {
	if n, err = notify.Get(ctx, tx, id); err != nil {
		return n, d, err
	}
	if d, err = lockDeviation(ctx, tx, DeviationID(n.Deviation)); err != nil {
		return n, d, err
	}
	n, err = notify.Get(ctx, tx, id)
	return n, d, err
}

// authorityOf returns an authority by its word.
func authorityOf(id string) (document.Authority, error) {
	a, ok := document.AuthorityOf(id)
	if !ok {
		var words []string
		for _, a := range document.Authorities() {
			words = append(words, a.ID)
		}
		return a, fault.New(fault.NotFound, "unknown-authority", "there is no authority %s; there are %s", id, fault.Words(words)).In("authority")
	}
	return a, nil
}
