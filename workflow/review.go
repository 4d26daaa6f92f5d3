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
		w := signedReview{Deviation: int64(id), OpenedAt: signedTime(d.OpenedAt), Records: []closedItem{}, Note: strings.TrimSpace(note), Late: strings.TrimSpace(late), Caution: caution}
		for _, k := range c.records {
			if k.Complete() && k.Kind != signoff.Closing && k.Kind != signoff.Review {
				w.Records = append(w.Records, closedItem{k.Kind, k.ID, k.Version, hex.EncodeToString(k.Digest)})
			}
		}
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
	zone, err := zoneOf(ctx, tx)
	if err != nil {
		return nil, err
	}
	due, err := deadline.Deadline(c.d.OpenedAt, reviewWithin, deadline.Calendar{Zone: zone, Works: deadline.WorkingWeek})
	if err != nil {
		return nil, fmt.Errorf("review of deviation %d: %w", c.d.ID, err)
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
