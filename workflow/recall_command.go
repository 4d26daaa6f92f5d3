package workflow

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/recall"
	"lastgood/workflow/trail"
)

// RecallDesk is a recall as it stands.
type RecallDesk struct {
	recall.Recall
	Pack      RecallPack
	Class     *recall.Letter // as told by the agency; nil: it has not said
	Letters   []recall.Letter
	Texts     []recall.Text
	Ledger    []Consignment
	ToNotify  []string
	Sample    *recall.Sample // nil: none was drawn
	Unchecked []string
	Statuses  []recall.Status
	NextDue   *time.Time // of the status report; nil: none is due
	Missing   []string   // what stands in the way of asking to end it
	Todo      string     // what is to be done next, and by whom
}

// Recall returns the recall of a deviation. Before anybody has drawn up a pack it
// has number 0 and says whether one is asked for.
func (s *Service) Recall(ctx context.Context, sc pg.Scope, id DeviationID) (RecallDesk, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (RecallDesk, error) {
		c, err := docketAt(ctx, tx, id)
		if err != nil {
			return RecallDesk{}, err
		}
		k, err := recallOf(ctx, tx, c)
		if err != nil {
			return RecallDesk{}, err
		}
		if k == nil {
			return c.beforeRecall(), nil
		}
		return k.shown(ctx, tx)
	})
}

func (k *desk) shown(ctx context.Context, tx *pg.Tx) (RecallDesk, error) {
	out := RecallDesk{Recall: k.r, Pack: k.pack, Letters: k.Letters, Texts: k.Texts, Ledger: k.consignments(), ToNotify: k.toNotify(), Unchecked: k.unchecked(),
		Statuses: k.Statuses, Todo: recallTodo[State(k.r.State)]}
	for i := range k.Letters {
		if k.Letters[i].Kind == "class" {
			out.Class = &k.Letters[i]
		}
	}
	if n := len(k.Samples); n > 0 {
		out.Sample = &k.Samples[n-1]
	}
	due, err := k.statusClock(ctx, tx)
	if err != nil {
		return out, err
	}
	if due != nil {
		out.NextDue = &due.DueAt
	}
	f := k.facts()
	f.Reference = true
	for _, g := range []Guard[RecallFacts]{nobodyUnnamed, nobodyToNotify, sampleDrawn, allChecked, allDisposedOf} {
		if !g.Holds(f) {
			out.Missing = append(out.Missing, g.Name)
		}
	}
	return out, nil
}

// atDesk runs one command of the recall desk: by one of some roles, or by anybody
// where there are none; then the recall goes on by itself.
func (s *Service) atDesk(ctx context.Context, sc pg.Scope, id DeviationID, what string, request any, roles []disposition.Role, f func(*pg.Tx, *desk) error) (RecallDesk, error) {
	return do(ctx, s, sc, what, map[string]any{"deviation": id, "request": request}, statusCreated, func(tx *pg.Tx) (out RecallDesk, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return out, err
		}
		if len(roles) > 0 {
			if err := asA(ctx, tx, roles...); err != nil {
				return out, err
			}
		}
		c, err := docketOf(ctx, tx, d)
		if err != nil {
			return out, err
		}
		k, err := deskOf(ctx, tx, c)
		if err != nil {
			return out, err
		}
		if err := f(tx, k); err != nil {
			return out, err
		}
		if err := k.goOn(ctx, tx); err != nil {
			return out, err
		}
		if err := advance(ctx, tx, &d); err != nil {
			return out, err
		}
		return k.shown(ctx, tx)
	})
}

// said tells the trail what was done at the desk.
func (k *desk) said(ctx context.Context, tx *pg.Tx, action, subject string, at time.Time, after any) error {
	return trail.Append(ctx, tx, trail.Entry{Stream: k.c.d.stream(), Action: "recall." + action, Subject: subject, Version: k.r.Version, HappenedAt: at, After: after})
}

// goesOn refuses what has no place before the decision or after the end.
func (k *desk) goesOn(what string, states ...State) error {
	if slices.Contains(states, State(k.r.State)) {
		return nil
	}
	return fault.New(fault.Refused, "transition-not-allowed", "recall %d is %s: %s has its place in %s", k.r.ID, k.r.State, what, fault.Words(states))
}

var (
	running   = []State{RecallDecided, RecallNotified, Retrieving, EffectivenessChecking, TerminationRequested}
	whoTells  = []disposition.Role{disposition.RegulatoryLiaison, disposition.QALead}
	whoChecks = []disposition.Role{disposition.RegulatoryLiaison, disposition.Verifier}
)

func happened(at, now time.Time) error {
	if at.IsZero() || at.After(now.Add(10*time.Minute)) {
		return fault.New(fault.Invalid, "in-the-future", "say when it was: not in the future").In("at")
	}
	return nil
}

// blank returns the first of some fields that says nothing.
func blank(fields ...[2]string) error {
	for _, f := range fields {
		if strings.TrimSpace(f[1]) == "" {
			return fault.New(fault.Invalid, "nothing-said", "%s is empty", f[0]).In(f[0])
		}
	}
	return nil
}

// WriteRecallText keeps another version of what consignees are told.
func (s *Service) WriteRecallText(ctx context.Context, sc pg.Scope, id DeviationID, text string) (RecallDesk, error) {
	return s.atDesk(ctx, sc, id, "recall text", text, whoTells, func(tx *pg.Tx, k *desk) error {
		if err := k.goesOn("a text", append([]State{RecallDeciding}, running...)...); err != nil {
			return err
		}
		if err := blank([2]string{"text", text}); err != nil {
			return err
		}
		before := len(k.Texts)
		if err := k.keepText(ctx, tx, text); err != nil {
			return err
		}
		if len(k.Texts) == before {
			return fault.New(fault.Conflict, "duplicate", "that is version %d, word for word", before).In("text")
		}
		return k.said(ctx, tx, "text_written", fmt.Sprint(len(k.Texts)), time.Time{}, map[string]any{"text_sha256": k.Texts[before].Digest})
	})
}

// NewConsigneeNotice is that a consignee was told.
type NewConsigneeNotice struct {
	Consignee string    `json:"consignee"`
	Version   int       `json:"text_version"`
	Method    string    `json:"method"`
	Whom      string    `json:"whom"`
	Person    string    `json:"person"`
	At        time.Time `json:"at"`
}

// TellConsignees records that consignees were told, all of the list or none.
func (s *Service) TellConsignees(ctx context.Context, sc pg.Scope, id DeviationID, list []NewConsigneeNotice) (RecallDesk, error) {
	return s.atDesk(ctx, sc, id, "tell consignees", list, whoTells, func(tx *pg.Tx, k *desk) error {
		if err := k.goesOn("a notice", append([]State{RecallTerminated}, running...)...); err != nil {
			return err
		}
		var bad fault.Rows
		for i, n := range list {
			if err := k.mayTell(n, tx.Now); err != nil {
				bad.Add(i, err.(*fault.Error))
			}
		}
		if bad != nil {
			return bad
		}
		for _, n := range list {
			if err := recall.AddNotice(ctx, tx, k.r.ID, recall.Notice{Consignee: n.Consignee, Version: n.Version, Method: n.Method, Whom: n.Whom, Person: n.Person, At: n.At}); err != nil {
				return err
			}
			if err := k.said(ctx, tx, "consignee_told", n.Consignee, n.At, n); err != nil {
				return err
			}
		}
		return nil
	})
}

func (k *desk) mayTell(n NewConsigneeNotice, now time.Time) error {
	if err := happened(n.At, now); err != nil {
		return err
	}
	if err := blank([2]string{"method", n.Method}, [2]string{"whom", n.Whom}, [2]string{"person", n.Person}); err != nil {
		return err
	}
	switch {
	case !slices.Contains(k.consignees(), n.Consignee):
		return fault.New(fault.NotFound, "unknown-consignee", "nothing in doubt of deviation %d went to %q", k.c.d.ID, n.Consignee).In("consignee")
	case n.Version < 1 || n.Version > len(k.Texts):
		return fault.New(fault.NotFound, "unknown-text", "there are %d versions of the text, and none is %d", len(k.Texts), n.Version).In("text_version")
	}
	return nil
}

// NewResponse is what a consignee says has become of what they got with one
// shipment; the latest word counts for all of it.
type NewResponse struct {
	Lot       string    `json:"lot"`
	Shipment  string    `json:"shipment"`
	OnHand    string    `json:"on_hand"`
	Returned  string    `json:"returned"`
	Destroyed string    `json:"destroyed"`
	SoldOn    string    `json:"sold_on"`
	Unit      string    `json:"quantity_unit"`
	Person    string    `json:"person"`
	At        time.Time `json:"at"`
}

// ConsigneesAnswered records what consignees say, by a person or a plant's system,
// all of the list or none.
func (s *Service) ConsigneesAnswered(ctx context.Context, sc pg.Scope, id DeviationID, list []NewResponse) (RecallDesk, error) {
	return s.atDesk(ctx, sc, id, "consignees answered", list, nil, func(tx *pg.Tx, k *desk) error {
		if err := k.goesOn("an answer", running...); err != nil {
			return err
		}
		var bad fault.Rows
		rows := make([]recall.Response, len(list))
		for i, n := range list {
			var err error
			if rows[i], err = k.response(n, tx.Now); err != nil {
				bad.Add(i, err.(*fault.Error))
			}
		}
		if bad != nil {
			return bad
		}
		for i, r := range rows {
			if err := recall.AddResponse(ctx, tx, k.r.ID, r); err != nil {
				return err
			}
			if err := k.said(ctx, tx, "consignee_answered", r.Consignee, r.At, list[i]); err != nil {
				return err
			}
		}
		return nil
	})
}

func (k *desk) response(n NewResponse, now time.Time) (r recall.Response, err error) {
	if err := happened(n.At, now); err != nil {
		return r, err
	}
	if err := blank([2]string{"person", n.Person}); err != nil {
		return r, err
	}
	left := k.c.left()
	i := slices.IndexFunc(left, func(l Left) bool { return l.Lot == n.Lot && l.Shipment == n.Shipment })
	if i < 0 {
		return r, fault.New(fault.NotFound, "unknown-shipment", "nothing in doubt of lot %s left with shipment %s", n.Lot, n.Shipment).In("shipment")
	}
	if u := left[i].Unit; u != nil && *u != n.Unit {
		return r, fault.New(fault.Invalid, "unknown-unit", "it was shipped in %s: answer in %s", *u, *u).In("quantity_unit")
	}
	r = recall.Response{Consignee: left[i].Consignee, Shipment: n.Shipment, Lot: int64(left[i].lot), Unit: n.Unit, Person: n.Person, At: n.At}
	for _, q := range []struct {
		field, value string
		into         *string
	}{{"on_hand", n.OnHand, &r.OnHand}, {"returned", n.Returned, &r.Returned}, {"destroyed", n.Destroyed, &r.Destroyed}, {"sold_on", n.SoldOn, &r.SoldOn}} {
		amount, err := unit.ParseQuantity(q.value, n.Unit)
		if err != nil {
			return r, fault.New(fault.Invalid, "not-a-quantity", "%v", err).In(q.field)
		}
		*q.into = amount.Amount
	}
	return r, nil
}
