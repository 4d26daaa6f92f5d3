package workflow

import (
	"context"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/policy/disposition"
	"lastgood/policy/document"
	"lastgood/workflow/fault"
	"lastgood/workflow/notify"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// Grounds are on what an authority need not be told (design notes on the procedure,
// T32).
var Grounds = []string{"not_serious", "three_part_exception", "not_its_product"}

// NewDetermination says whether an authority must be told, and why.
type NewDetermination struct {
	Required bool   `json:"required"`
	Reason   string `json:"reason"`
	Grounds  string `json:"grounds"` // of not required
}

// signedDetermination is what those who determine sign.
type signedDetermination struct {
	Deviation int64  `json:"deviation"`
	Authority string `json:"authority"`
	Name      string `json:"authority_name"`
	Citation  string `json:"citation"`
	Required  bool   `json:"required"`
	Grounds   string `json:"grounds,omitzero"`
	Reason    string `json:"reason"`
	Left      []Left `json:"product_that_left"`
	Basis     string `json:"product_that_left_sha256"`
	Caution   string `json:"caution"`
}

// Determine puts up for signing whether an authority must be told. The clock starts
// with the last signature, not with the failed check. One that it is required is
// signed by QA, the plant manager and the liaison; one that it is not, by QA and by
// somebody else who has read why.
func (s *Service) Determine(ctx context.Context, sc pg.Scope, id DeviationID, authority string, n NewDetermination) (signoff.Record, error) {
	request := map[string]any{"deviation": id, "authority": authority, "determination": n}
	return do(ctx, s, sc, "determine", request, statusCreated, func(tx *pg.Tx) (r signoff.Record, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return r, err
		}
		if err := asA(ctx, tx, disposition.RegulatoryLiaison, disposition.QALead, disposition.PlantManager); err != nil {
			return r, err
		}
		c, err := docketOf(ctx, tx, d)
		if err != nil {
			return r, err
		}
		a, err := c.mayDetermine(authority, n)
		if err != nil {
			return r, err
		}
		row, err := c.notificationOf(ctx, tx, authority)
		if err != nil {
			return r, err
		}
		if r, err = signoff.Put(ctx, tx, c.determinationDraft(row, a, n)); err != nil {
			return r, err
		}
		if r.Complete() {
			return r, fault.New(fault.Conflict, "already-determined", "everyone has signed this determination of %s already", a.Name)
		}
		if State(row.State) != Assessing {
			err = move(ctx, tx, d, &row, Assess, NotificationFacts{Traced: c.run > 0}, map[string]any{"required": n.Required}, n.Reason)
			if err != nil {
				return r, err
			}
		}
		err = trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "determination.proposed", Subject: a.ID, Version: r.Version,
			After: map[string]any{"required": n.Required, "grounds": n.Grounds, "record_sha256": r.Digest}, Reason: n.Reason})
		if err != nil {
			return r, err
		}
		return r, advance(ctx, tx, &d)
	})
}

func (c *docket) mayDetermine(authority string, n NewDetermination) (document.Authority, error) {
	a, err := authorityOf(authority)
	switch {
	case err != nil:
		return a, err
	case a.Asked():
		return a, fault.New(fault.Invalid, "not-determined", "%s asks by itself, and nobody determines that: record its request", a.Name).In("authority")
	case c.d.State == Closed || c.d.State == CancelledInError:
		return a, fault.New(fault.Refused, "transition-not-allowed", "deviation %d is %s: reopen it first", c.d.ID, c.d.State)
	case c.run == 0:
		return a, fault.New(fault.Refused, "not-traced", "deviation %d was not traced yet: nobody knows what has left", c.d.ID)
	case strings.TrimSpace(n.Reason) == "":
		return a, fault.New(fault.Invalid, "reason-missing", "say why").In("reason")
	case n.Required && n.Grounds != "":
		return a, fault.New(fault.Invalid, "unknown-word", "grounds belong to a determination that it is not required").In("grounds")
	case !n.Required && !slices.Contains(Grounds, n.Grounds):
		return a, fault.New(fault.Invalid, "unknown-word", "what is not required is so on one of %s", fault.Words(Grounds)).In("grounds")
	case n.Grounds == "three_part_exception" && len(c.left()) > 0:
		l := c.left()[0]
		return a, fault.New(fault.Refused, "exception-not-met", "%s went to %s: the exception is for what was found before any transfer (21 USC 350f(d)(2), RF-04)",
			l.named(), cmpOr(l.Consignee, "somebody who is not named")).In("grounds")
	}
	return a, nil
}

// notificationOf returns that of an authority, and begins it if there is none.
func (c *docket) notificationOf(ctx context.Context, tx *pg.Tx, authority string) (notify.Notification, error) {
	list, err := notify.Of(ctx, tx, int64(c.d.ID))
	if err != nil {
		return notify.Notification{}, err
	}
	if i := slices.IndexFunc(list, func(n notify.Notification) bool { return n.Authority == authority }); i >= 0 {
		switch State(list[i].State) {
		case NotAssessed, Assessing, Required, NotRequired:
			return list[i], nil
		}
		return list[i], fault.New(fault.Refused, "already-sent", "%s was told already, and is %s: what has changed is told by an amended notice", authority, list[i].State)
	}
	return notify.Open(ctx, tx, int64(c.d.ID), authority)
}

func (c *docket) determinationDraft(row notify.Notification, a document.Authority, n NewDetermination) signoff.Draft {
	seats := []signoff.Seat{
		{Role: disposition.QALead, Deed: disposition.Judged, Meaning: "has determined that it must be reported"},
		{Role: disposition.PlantManager, Deed: disposition.Judged, Meaning: "has determined for the plant that it must be reported"},
		{Role: disposition.RegulatoryLiaison, Deed: disposition.Judged, Meaning: "has determined that it must be reported, and to whom"},
	}
	if !n.Required {
		seats = []signoff.Seat{
			{Role: disposition.QALead, Deed: disposition.NotReportable, Meaning: "has determined that it need not be reported, and why"},
			{Role: disposition.Verifier, Deed: disposition.NotReportableRead, Meaning: "has reviewed why it need not be reported"},
		}
	}
	w := signedDetermination{int64(c.d.ID), a.ID, a.Name, a.Citation, n.Required, n.Grounds, strings.TrimSpace(n.Reason), c.left(), hex.EncodeToString(c.leftDigest()), caution}
	return signoff.Draft{Kind: signoff.Notification, ID: int64(row.ID), Deviation: int64(c.d.ID), Stream: c.d.stream(), Subjects: []string{"authority " + a.ID}, What: w,
		Seats: seats, Run: c.run, Policy: c.policy.version, Reason: "it is determined anew"}
}

func init() {
	then[signoff.Notification] = determined
}

// determined lets the clock start, or stop, when everyone has signed.
func determined(ctx context.Context, tx *pg.Tx, d *Deviation, r signoff.Record) error {
	var w signedDetermination
	if err := json.Unmarshal(r.What, &w); err != nil {
		return fmt.Errorf("determination %d: %w", r.ID, err)
	}
	c, err := docketOf(ctx, tx, *d)
	if err != nil {
		return err
	}
	basis := c.leftDigest()
	if w.Basis != hex.EncodeToString(basis) {
		return fault.New(fault.Conflict, "record-changed", "more is known of what has left than the determination for %s says: determine it anew", w.Name)
	}
	n, err := notify.Get(ctx, tx, notify.ID(r.ID))
	if err != nil {
		return err
	}
	n.Determined, n.Basis = &tx.Now, basis
	e := Exempt
	if n.ClockFrom, err = c.clockFrom(ctx, tx, n, w.Required); err != nil {
		return err
	}
	if w.Required {
		e = Require
	}
	return move(ctx, tx, *d, &n, e, NotificationFacts{Yes: w.Required, No: !w.Required}, map[string]any{"record_sha256": r.Digest, "clock_from": n.ClockFrom}, w.Reason)
}

// clockFrom is from when the clock of an authority runs; nil: it does not. One that
// runs already is not set back by determining it anew.
func (c *docket) clockFrom(ctx context.Context, tx *pg.Tx, n notify.Notification, required bool) (*time.Time, error) {
	a, err := authorityOf(n.Authority)
	switch {
	case err != nil, !required:
		return nil, err
	case n.ClockFrom != nil:
		return n.ClockFrom, nil
	case a.Starts == document.AtDistribution:
		since, err := c.leftSince(ctx, tx)
		if err != nil || !since.IsZero() {
			return &since, err
		}
	}
	return &tx.Now, nil
}
