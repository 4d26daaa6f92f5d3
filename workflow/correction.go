package workflow

import (
	"context"
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"lastgood/policy/disposition"
	"lastgood/workflow/correct"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// NewPaper is a paper that a statement rests on.
type NewPaper struct {
	Name      string `json:"name"`
	MediaType string `json:"media_type"`
	Bytes     []byte `json:"bytes"`
}

// keepPapers keeps the bytes of papers as evidence.
func keepPapers(ctx context.Context, tx *pg.Tx, list []NewPaper) ([]correct.Paper, error) {
	var out []correct.Paper
	for _, p := range list {
		if strings.TrimSpace(p.Name) == "" || len(p.Bytes) == 0 {
			return nil, fault.New(fault.Invalid, "nothing-attached", "a paper has a name and bytes").In("evidence")
		}
		digest, err := decision.Keep(ctx, tx, p.MediaType, p.Bytes)
		if err != nil {
			return nil, err
		}
		out = append(out, correct.Paper{Name: p.Name, Digest: digest})
	}
	return out, nil
}

// NewPart is what somebody writes of one part of the corrective action.
type NewPart struct {
	Part correct.Part `json:"part"`
	Text string       `json:"text"`
	// Open: the cause was not found, or no preventive measure is needed. Statement
	// says why.
	Open        bool       `json:"open"`
	Statement   string     `json:"statement"`
	PlanFailed  bool       `json:"plan_failed"`  // of a cause: what was planned did not work
	SameAs      *int64     `json:"same_as"`      // of a cause: the deviation that had the same
	EffectiveBy *time.Time `json:"effective_by"` // of prevention: when it is looked at whether it works
	Evidence    []NewPaper `json:"evidence"`
}

// Correction is the corrective action of a deviation as it stands.
type Correction struct {
	Parts  map[correct.Part]correct.Written
	Effect *correct.Effect // what was seen of the preventive measure; nil: nobody looked
	Line   LineStanding
	Record *signoff.Record // nil: there is not all that is signed
}

func correctionOf(ctx context.Context, tx *pg.Tx, d Deviation, records []signoff.Record) (c Correction, err error) {
	if c.Parts, err = correct.Of(ctx, tx, int64(d.ID)); err != nil {
		return c, err
	}
	if p, ok := c.Parts[correct.Prevention]; ok {
		if c.Effect, err = correct.EffectOf(ctx, tx, p.ID); err != nil {
			return c, err
		}
	}
	if c.Line, err = lineOf(ctx, tx, d); err != nil {
		return c, err
	}
	for i := range records {
		if records[i].Kind == signoff.Correction {
			c.Record = &records[i]
		}
	}
	return c, nil
}

// Correction returns the corrective action of a deviation.
func (s *Service) Correction(ctx context.Context, sc pg.Scope, id DeviationID) (Correction, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (Correction, error) {
		d, err := getDeviation(ctx, tx, id, "")
		if err != nil {
			return Correction{}, err
		}
		records, err := signoff.Of(ctx, tx, int64(id))
		if err != nil {
			return Correction{}, err
		}
		return correctionOf(ctx, tx, d, records)
	})
}

// missing says what of the corrective action is not there yet, so that it cannot
// be signed; empty: it can.
func (c Correction) missing() (out []string) {
	cause, ok := c.Parts[correct.Cause]
	switch {
	case !ok:
		out = append(out, "the cause")
	case cause.Open && cause.Statement == "":
		out = append(out, "a statement why no cause was found")
	}
	if _, ok := c.Parts[correct.Control]; !ok {
		out = append(out, "that the control point is under control")
	}
	if c.Line.State != LineRestored {
		out = append(out, "the line restored, with a good instrument and a good reading")
	}
	p, ok := c.Parts[correct.Prevention]
	switch {
	case !ok:
		out = append(out, "the preventive measure")
	case p.Open && p.Statement == "":
		out = append(out, "a statement why no preventive measure is needed")
	}
	if _, ok := c.Parts[correct.Product]; !ok {
		out = append(out, "that no product that is injurious or adulterated enters commerce")
	}
	return out
}

// WriteCorrection writes one part of the corrective action, anew if it was written
// before. When all four are there, and the line is restored, QA and a verifier sign.
func (s *Service) WriteCorrection(ctx context.Context, sc pg.Scope, id DeviationID, n NewPart) (Correction, error) {
	return s.correcting(ctx, sc, "write corrective action", id, n, func(tx *pg.Tx, d *Deviation) error {
		if err := asA(ctx, tx, disposition.QALead, disposition.LineSupervisor, disposition.CalibrationTechnician, disposition.QualifiedPerson); err != nil {
			return err
		}
		if err := n.check(*d, tx.Now); err != nil {
			return err
		}
		if n.SameAs != nil {
			if _, err := getDeviation(ctx, tx, DeviationID(*n.SameAs), ""); err != nil {
				return err
			}
		}
		papers, err := keepPapers(ctx, tx, n.Evidence)
		if err != nil {
			return err
		}
		w, err := correct.Write(ctx, tx, correct.Written{Deviation: int64(id), Part: n.Part, Text: strings.TrimSpace(n.Text), Open: n.Open, Statement: strings.TrimSpace(n.Statement),
			PlanFailed: n.PlanFailed, SameAs: n.SameAs, EffectiveBy: n.EffectiveBy, Papers: papers})
		if err != nil {
			return err
		}
		if n.SameAs != nil {
			if err := cameAgain(ctx, tx, *d, *n.SameAs); err != nil {
				return err
			}
		}
		return trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "correction.written", Subject: string(n.Part), Version: int(w.ID), After: signedOfPart(w), Reason: w.Statement})
	})
}

// correcting runs a command on the corrective action and puts it up for signing if
// all of it is there.
func (s *Service) correcting(ctx context.Context, sc pg.Scope, what string, id DeviationID, request any, f func(*pg.Tx, *Deviation) error) (Correction, error) {
	wrapped := map[string]any{"deviation": id, "request": request}
	return do(ctx, s, sc, what, wrapped, statusCreated, func(tx *pg.Tx) (c Correction, err error) {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return c, err
		}
		if d.State == Closed || d.State == CancelledInError {
			return c, fault.New(fault.Refused, "transition-not-allowed", "deviation %d is %s: reopen it first", id, d.State)
		}
		if err := f(tx, &d); err != nil {
			return c, err
		}
		if err := putCorrection(ctx, tx, d); err != nil {
			return c, err
		}
		if err := advance(ctx, tx, &d); err != nil {
			return c, err
		}
		records, err := signoff.Of(ctx, tx, int64(id))
		if err != nil {
			return c, err
		}
		return correctionOf(ctx, tx, d, records)
	})
}

func (n NewPart) check(d Deviation, now time.Time) error {
	text := "what was found and done"
	switch {
	case n.Open && n.Part != correct.Cause && n.Part != correct.Prevention:
		return fault.New(fault.Invalid, "contradiction", "only a cause can be not found, and only a preventive measure not needed").In("open")
	case (n.PlanFailed || n.SameAs != nil) && n.Part != correct.Cause:
		return fault.New(fault.Invalid, "contradiction", "that the plan failed, or that the cause is known from another deviation, is said of the cause").In("part")
	case n.EffectiveBy != nil && (n.Part != correct.Prevention || n.Open):
		return fault.New(fault.Invalid, "contradiction", "only of a preventive measure is looked at whether it works").In("effective_by")
	case n.EffectiveBy != nil && !n.EffectiveBy.After(now):
		return fault.New(fault.Invalid, "out-of-range", "the day on which is looked at whether it works has yet to come").In("effective_by")
	case n.SameAs != nil && *n.SameAs == int64(d.ID):
		return fault.New(fault.Invalid, "contradiction", "it is this deviation itself").In("same_as")
	}
	for _, p := range correct.Parts {
		if n.Part == p {
			return said(n.Text, "text", text)
		}
	}
	return fault.New(fault.Invalid, "unknown-word", "a part is one of %s", fault.Words(correct.Parts)).In("part")
}

// signedCorrection is what is signed of the corrective action.
type signedCorrection struct {
	Instrument string         `json:"instrument"`
	Parts      []signedPart   `json:"parts"`
	Line       []signedOnLine `json:"line"`
	Caution    string         `json:"caution"`
}

type signedPart struct {
	Part        correct.Part  `json:"part"`
	Text        string        `json:"text"`
	Open        bool          `json:"not_found_or_not_needed"`
	Statement   string        `json:"statement,omitzero"`
	PlanFailed  bool          `json:"plan_failed"`
	SameAs      *int64        `json:"same_as,omitzero"`
	EffectiveBy string        `json:"effective_by,omitzero"`
	At          string        `json:"written_at"`
	By          string        `json:"written_by"`
	Evidence    []signedPaper `json:"evidence"`
}

type signedPaper struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
}

func signedOfPart(w correct.Written) signedPart {
	p := signedPart{Part: w.Part, Text: w.Text, Open: w.Open, Statement: w.Statement, PlanFailed: w.PlanFailed, SameAs: w.SameAs,
		At: signedTime(w.At), By: w.By, Evidence: signedPapers(w.Papers)}
	if w.EffectiveBy != nil {
		p.EffectiveBy = signedTime(*w.EffectiveBy)
	}
	return p
}

func signedPapers(list []correct.Paper) []signedPaper {
	out := []signedPaper{}
	for _, p := range list {
		out = append(out, signedPaper{p.Name, hex.EncodeToString(p.Digest)})
	}
	return out
}

// signedTime is a time as it stands in a record that is signed.
func signedTime(t time.Time) string { return t.UTC().Format("2006-01-02T15:04:05.999999Z07:00") }

// putCorrection puts the corrective action up for signing, if all of it is there.
func putCorrection(ctx context.Context, tx *pg.Tx, d Deviation) error {
	c, err := correctionOf(ctx, tx, d, nil)
	if err != nil || len(c.missing()) > 0 {
		return err
	}
	w := signedCorrection{Parts: []signedPart{}, Line: []signedOnLine{}, Caution: caution}
	const code = `select code from instrument where plant_id = $1 and instrument_id = $2`
	if err := tx.GetContext(ctx, &w.Instrument, code, tx.Plant, d.Instrument); err != nil {
		return err
	}
	for _, p := range correct.Parts {
		w.Parts = append(w.Parts, signedOfPart(c.Parts[p]))
	}
	for _, e := range c.Line.Events {
		w.Line = append(w.Line, signedOfLine(e))
	}
	_, err = signoff.Put(ctx, tx, signoff.Draft{Kind: signoff.Correction, ID: int64(d.ID), Deviation: int64(d.ID), Stream: d.stream(),
		Subjects: []string{"corrective action"}, What: w, Reason: "the corrective action has changed", Seats: []signoff.Seat{
			{Role: disposition.QALead, Deed: disposition.Proposed, Meaning: "states that the four parts of the corrective action were taken"},
			{Role: disposition.Verifier, Deed: disposition.Verified, Meaning: "has verified the corrective action and its evidence"},
		}})
	return err
}

func init() {
	ways = append(ways, correctionInTheWay)
}

func correctionInTheWay(ctx context.Context, tx *pg.Tx, c *docket) (out []Reason, _ error) {
	a, err := correctionOf(ctx, tx, c.d, c.records)
	if err != nil {
		return nil, err
	}
	link := fmt.Sprintf("/v1/deviations/%d/correction", c.d.ID)
	cause, written := a.Parts[correct.Cause]
	if !written || cause.Open && cause.Statement == "" {
		out = append(out, Reason{"cause_not_found_without_statement", "neither is a cause written, nor why none was found", link})
	}
	missing := a.missing()
	_, half := c.record(signoff.Correction, int64(c.d.ID))
	switch {
	case len(missing) > 0:
		out = append(out, Reason{"preventive_measure_unverified", "the corrective action cannot be signed: missing " + strings.Join(missing, "; "), link})
	case !half || !a.Record.Complete():
		out = append(out, Reason{"preventive_measure_unverified", "the corrective action waits for " + whoIsMissing(*a.Record), fmt.Sprintf("/v1/records/correction/%d", c.d.ID)})
	}
	if why := a.effectDue(tx.Now); why != "" {
		out = append(out, Reason{"effectiveness_due", why, link + "/effectiveness"})
	}
	return out, nil
}

// effectDue says what is open of whether the preventive measure works; empty:
// nothing, or the day has yet to come.
func (c Correction) effectDue(now time.Time) string {
	p, ok := c.Parts[correct.Prevention]
	switch {
	case !ok || p.Open:
		return ""
	case p.EffectiveBy == nil:
		return "nobody has said by when it is looked at whether the preventive measure works"
	case c.Effect != nil && !c.Effect.Effective:
		return "the preventive measure does not work: write another"
	case c.Effect == nil && !p.EffectiveBy.After(now):
		return "the day has passed on which it was to be looked at whether the preventive measure works"
	}
	return ""
}
