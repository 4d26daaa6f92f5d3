package workflow

import (
	"context"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	deadline "lastgood/policy/clock"
	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// reviewWithin is how long after a record was made it is reviewed (21 CFR
// 117.165(a)(4)(i), from memory).
var reviewWithin = deadline.Rule{Unit: deadline.WorkingDays, Count: 7}

// signedReview is what a qualified person signs of the records of a deviation.
type signedReview struct {
	Deviation int64        `json:"deviation"`
	OpenedAt  string       `json:"opened_at"`
	Records   []closedItem `json:"records"` // that were signed by then
	Note      string       `json:"note"`
	Late      string       `json:"late_because,omitzero"`
	Caution   string       `json:"caution"`
}

// ReviewRecords puts the review of a deviation's records up for a qualified person
// to sign. One that is late says why.
func (s *Service) ReviewRecords(ctx context.Context, sc pg.Scope, id DeviationID, note, late string) (signoff.Record, error) {
	request := map[string]any{"deviation": id, "note": note, "late": late}
	return do(ctx, s, sc, "review records", request, statusCreated, func(tx *pg.Tx) (r signoff.Record, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return r, err
		}
		if err := asA(ctx, tx, disposition.QualifiedPerson); err != nil {
			return r, err
		}
		if err := said(note, "note", "what was reviewed, and what was found"); err != nil {
			return r, err
		}
		if d.State == Closed || d.State == CancelledInError {
			return r, fault.New(fault.Refused, "transition-not-allowed", "deviation %d is %s: reopen it first", d.ID, d.State)
		}
		c, err := docketOf(ctx, tx, d)
		if err != nil {
			return r, err
		}
		w := signedReview{Deviation: int64(id), OpenedAt: signedTime(d.OpenedAt), Records: c.reviewable(), Note: strings.TrimSpace(note), Late: strings.TrimSpace(late), Caution: caution}
		r, err = signoff.Put(ctx, tx, signoff.Draft{Kind: signoff.Review, ID: int64(id), Deviation: int64(id), Stream: d.stream(), Subjects: []string{"records of the deviation"},
			What: w, Run: c.run, Policy: c.policy.version, Reason: "the records were reviewed again",
			Seats: []signoff.Seat{{Role: disposition.QualifiedPerson, Deed: disposition.Verified, Meaning: "has reviewed the records of the deviation"}}})
		if err != nil {
			return r, err
		}
		return r, trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "review.proposed", Subject: fmt.Sprint(id), Version: r.Version,
			After: map[string]any{"records": len(w.Records), "note": w.Note}, Reason: w.Late})
	})
}

func init() {
	ways = append(ways, reviewInTheWay)
}

// reviewInTheWay: the records are reviewed by somebody qualified, in time or with a
// reason.
func reviewInTheWay(ctx context.Context, tx *pg.Tx, c *docket) ([]Reason, error) {
	due, zone, err := reviewDue(ctx, tx, c.d)
	if err != nil {
		return nil, err
	}
	link := fmt.Sprintf("/v1/deviations/%d/review", c.d.ID)
	r, ok := c.record(signoff.Review, int64(c.d.ID))
	if !ok || !r.Complete() {
		return []Reason{{"missing_signature", "the records wait for the review of a qualified person, by " + due.On.String(), link}}, nil
	}
	var w signedReview
	if err := json.Unmarshal(r.What, &w); err != nil {
		return nil, fmt.Errorf("review of deviation %d: %w", c.d.ID, err)
	}
	if at := r.Signatures[len(r.Signatures)-1].SignedAt; at.After(due.At) && w.Late == "" {
		return []Reason{{"late_review_unexplained", fmt.Sprintf("the records were reviewed on %s and were due on %s: review them again, and say why", at.In(zone).Format(time.DateOnly), due.On), link}}, nil
	}
	return nil, nil
}

// ReviewStanding is where the review of a deviation's records stands.
type ReviewStanding struct {
	DueOn   time.Time          // the last day, as it is called where the plant is
	DueAt   time.Time          // the end of that day
	Late    bool               // it was not signed by then
	By      []disposition.Role // that may put it up and sign it
	Records int                // signed so far, to be reviewed
	Record  *signoff.Record    // nil: nobody has put it up
	Missing []Reason           // what of it stands in the way of closing
}

// RecordReview returns where the review of a deviation's records stands.
func (s *Service) RecordReview(ctx context.Context, sc pg.Scope, id DeviationID) (ReviewStanding, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (st ReviewStanding, err error) {
		c, err := docketAt(ctx, tx, id)
		if err != nil {
			return st, err
		}
		due, zone, err := reviewDue(ctx, tx, c.d)
		if err != nil {
			return st, err
		}
		st = ReviewStanding{DueOn: time.Date(due.On.Year, due.On.Month, due.On.Day, 0, 0, 0, 0, zone), DueAt: due.At.In(zone), By: []disposition.Role{disposition.QualifiedPerson}, Records: len(c.reviewable())}
		at := tx.Now
		if signed := c.signedAt(signoff.Review, int64(id)); signed != nil {
			at = *signed
		}
		st.Late = at.After(due.At)
		if r, ok := c.record(signoff.Review, int64(id)); ok {
			st.Record = &r
		}
		st.Missing, err = reviewInTheWay(ctx, tx, c)
		return st, err
	})
}

// reviewDue is by when the records of a deviation are reviewed.
func reviewDue(ctx context.Context, tx *pg.Tx, d Deviation) (deadline.Due, *time.Location, error) {
	zone, err := zoneOf(ctx, tx)
	if err != nil {
		return deadline.Due{}, nil, err
	}
	due, err := deadline.Deadline(d.OpenedAt, reviewWithin, deadline.Calendar{Zone: zone, Works: deadline.WorkingWeek})
	if err != nil {
		return due, nil, fmt.Errorf("review of deviation %d: %w", d.ID, err)
	}
	return due, zone, nil
}

// reviewable are the records that everyone has signed, besides the review itself and
// the closing after it.
func (c *docket) reviewable() []closedItem {
	out := []closedItem{}
	for _, k := range c.records {
		if k.Complete() && k.Kind != signoff.Closing && k.Kind != signoff.Review {
			out = append(out, closedItem{k.Kind, k.ID, k.Version, hex.EncodeToString(k.Digest)})
		}
	}
	return out
}
