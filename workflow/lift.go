package workflow

import (
	"context"
	"fmt"
	"strings"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// A hold is lifted by carrying out a signed disposition, or by QA where there is
// nothing to decide: somebody placed it by hand, or it turned out wider than what
// the last run doubts.

// signedLift is what QA signs to lift a hold.
type signedLift struct {
	Hold    int64           `json:"hold"`
	Lot     string          `json:"lot"`
	Portion string          `json:"portion,omitzero"`
	Placed  string          `json:"placed"` // why
	Held    *signedQuantity `json:"quantity"`
	Reason  string          `json:"reason"`
	Caution string          `json:"caution"`
}

// AskToLift puts the lifting of a hold up for QA to sign. A hold on a lot that the
// last run doubts is refused: that is lifted by a signed disposition.
func (s *Service) AskToLift(ctx context.Context, sc pg.Scope, id hold.ID, reason string) (signoff.Record, error) {
	request := map[string]any{"hold": id, "reason": reason}
	return do(ctx, s, sc, "ask to lift", request, statusCreated, func(tx *pg.Tx) (r signoff.Record, err error) {
		if strings.TrimSpace(reason) == "" {
			return r, fault.New(fault.Invalid, "reason-missing", "say why the hold is not needed").In("reason")
		}
		if _, err := tx.SharePlant(ctx); err != nil {
			return r, err
		}
		h, err := hold.Get(ctx, tx, id)
		if err != nil {
			return r, fault.New(fault.NotFound, "unknown-hold", "there is no standing hold %d", id)
		}
		why, err := mayLift(ctx, tx, h)
		if err != nil {
			return r, err
		}
		w := signedLift{int64(id), h.LotCode, h.Portion, why, nil, reason, caution}
		if h.Quantity != nil && h.Unit != nil {
			w.Held = &signedQuantity{*h.Quantity, *h.Unit}
		}
		return signoff.Put(ctx, tx, signoff.Draft{Kind: signoff.Lift, ID: int64(id), Deviation: h.Deviation, Stream: holdStream(h.ID, h.Deviation, h.Cascade),
			Subjects: []string{fmt.Sprintf("hold %d", id)}, What: w, Reason: "another reason",
			Seats: []signoff.Seat{{Role: disposition.QALead, Deed: disposition.Verified, Meaning: "lifts the hold"}}})
	})
}

// mayLift refuses what is not for QA alone, and says why the hold was placed.
func mayLift(ctx context.Context, tx *pg.Tx, h hold.Hold) (string, error) {
	switch {
	case h.Deviation == 0 && h.Cascade != 0:
		return "", fault.New(fault.Refused, "cascade-pending", "hold %d belongs to cascade %d, which waits to be confirmed", h.ID, h.Cascade)
	case h.Deviation == 0:
		return h.Reason, nil
	}
	d, err := lockDeviation(ctx, tx, DeviationID(h.Deviation))
	if err != nil {
		return "", err
	}
	if d.RetraceDue != nil || d.State == Detected || d.State == Contained {
		return "", fault.New(fault.Refused, "newer-trace-exists", "deviation %d is not traced with all that is known: whether lot %s is in doubt shows then", d.ID, h.LotCode)
	}
	list, err := findingsOf(ctx, tx, d)
	if err != nil {
		return "", err
	}
	for _, f := range list {
		if f.LotID == h.Lot && f.Verdict != "" {
			return "", fault.New(fault.Refused, "in-doubt", "the last run doubts lot %s: its hold is lifted by a signed disposition", h.LotCode)
		}
	}
	return fmt.Sprintf("deviation %d, of which the last run does not doubt the lot", d.ID), nil
}

func init() {
	then[signoff.Lift] = liftNow
}

// liftNow lifts the hold when QA has signed, if it may still be.
func liftNow(ctx context.Context, tx *pg.Tx, _ *Deviation, r signoff.Record) error {
	h, err := hold.Get(ctx, tx, hold.ID(r.ID))
	if err != nil {
		return fault.New(fault.Refused, "unknown-hold", "hold %d does not stand any more", r.ID)
	}
	if _, err := mayLift(ctx, tx, h); err != nil {
		return err
	}
	return liftOne(ctx, tx, h, "QA lifted it")
}

// liftOne lifts a hold and tells the trail.
func liftOne(ctx context.Context, tx *pg.Tx, h hold.Hold, why string) error {
	p, err := hold.PortionOf(ctx, tx, h.ID)
	if err != nil {
		return err
	}
	if err := hold.LiftOne(ctx, tx, h.ID, p, why); err != nil {
		return err
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: holdStream(h.ID, h.Deviation, h.Cascade), Action: "hold.lifted", Subject: h.LotCode, Version: h.Version + 1, Reason: why})
}
