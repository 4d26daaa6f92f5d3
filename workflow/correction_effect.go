package workflow

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/correct"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// NewEffect is what somebody saw of a preventive measure.
type NewEffect struct {
	Effective bool       `json:"effective"`
	Text      string     `json:"text"`
	LookedAt  time.Time  `json:"looked_at"`
	Evidence  []NewPaper `json:"evidence"`
}

// RecordEffect records whether the preventive measure works, also of a closed
// deviation. Of one that does not, the deviation is opened again.
func (s *Service) RecordEffect(ctx context.Context, sc pg.Scope, id DeviationID, n NewEffect) (Correction, error) {
	request := map[string]any{"deviation": id, "effect": n}
	return do(ctx, s, sc, "record effect", request, statusCreated, func(tx *pg.Tx) (c Correction, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return c, err
		}
		if err := asA(ctx, tx, disposition.QALead, disposition.Verifier, disposition.QualifiedPerson); err != nil {
			return c, err
		}
		if err := said(n.Text, "text", "what was looked at, and what was seen"); err != nil {
			return c, err
		}
		if err := inTheFuture(n.LookedAt, tx.Now, "looked_at"); err != nil {
			return c, err
		}
		records, err := signoff.Of(ctx, tx, int64(id))
		if err != nil {
			return c, err
		}
		if c, err = correctionOf(ctx, tx, d, records); err != nil {
			return c, err
		}
		p, ok := c.Parts[correct.Prevention]
		switch {
		case !ok || p.Open:
			return c, fault.New(fault.Refused, "no-preventive-measure", "deviation %d has no preventive measure that could work", id)
		case !n.LookedAt.After(p.At):
			return c, fault.New(fault.Invalid, "out-of-range", "the preventive measure was written after that").In("looked_at")
		case n.Effective && len(n.Evidence) == 0:
			return c, fault.New(fault.Invalid, "nothing-attached", "that it works is shown by evidence: attach it").In("evidence")
		}
		if err := effectSeen(ctx, tx, &d, p, n); err != nil {
			return c, err
		}
		return correctionOf(ctx, tx, d, records)
	})
}

func effectSeen(ctx context.Context, tx *pg.Tx, d *Deviation, p correct.Written, n NewEffect) error {
	papers, err := keepPapers(ctx, tx, n.Evidence)
	if err != nil {
		return err
	}
	e, err := correct.AddEffect(ctx, tx, correct.Effect{Part: p.ID, Effective: n.Effective, Text: strings.TrimSpace(n.Text), LookedAt: n.LookedAt, Papers: papers})
	if err != nil {
		return err
	}
	err = trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "correction.effect_seen", Subject: "prevention", Version: int(e.ID), HappenedAt: n.LookedAt,
		After: map[string]any{"effective": n.Effective, "text": e.Text, "evidence": signedPapers(papers)}})
	if err != nil {
		return err
	}
	if !n.Effective && d.State == Closed {
		why := "same_cause_again: the preventive measure does not work: " + e.Text
		if err := correct.Recurred(ctx, tx, []int64{int64(d.ID)}, why); err != nil {
			return err
		}
		d.ReopenAsked, d.RetraceDue = &why, &tx.Now
	}
	return advance(ctx, tx, d)
}

// recurred asks for the closed deviations of an instrument to be opened again
// whose preventive measure was still on trial when this one failed (design notes on
// the procedure, §10, trigger 5). They are traced again by the job, and reopen with
// that.
func recurred(ctx context.Context, tx *pg.Tx, d Deviation) error {
	return askAgain(ctx, tx, d, 0, "the instrument failed again")
}

// cameAgain is recurred for a deviation whose cause is said to be the same.
func cameAgain(ctx context.Context, tx *pg.Tx, d Deviation, older int64) error {
	ids, err := correct.Reopens(ctx, tx, 0, older, int64(d.ID), d.OpenedAt)
	if err != nil || !slices.Contains(ids, older) {
		return err
	}
	if _, err := lockDeviation(ctx, tx, DeviationID(older)); err != nil {
		return err
	}
	return askAgain(ctx, tx, d, older, "the same cause was found again")
}

func askAgain(ctx context.Context, tx *pg.Tx, d Deviation, older int64, what string) error {
	of := int32(d.Instrument)
	if older != 0 {
		of = 0
	}
	ids, err := correct.Reopens(ctx, tx, of, older, int64(d.ID), d.OpenedAt)
	if err != nil || len(ids) == 0 {
		return err
	}
	why := fmt.Sprintf("same_cause_again: %s before the preventive measure was shown to work: deviation %d", what, d.ID)
	if err := correct.Recurred(ctx, tx, ids, why); err != nil {
		return err
	}
	for _, id := range ids {
		err := trail.Append(ctx, tx, trail.Entry{Stream: Deviation{ID: DeviationID(id)}.stream(), Action: "correction.recurred", Subject: fmt.Sprint(d.ID), Reason: why})
		if err != nil {
			return err
		}
	}
	return nil
}
