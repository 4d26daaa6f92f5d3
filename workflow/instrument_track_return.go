package workflow

import (
	"context"
	"fmt"
	"strings"

	"lastgood/policy/disposition"
	"lastgood/workflow/correct"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// signedReturn is what is signed where an instrument goes back into use.
type signedReturn struct {
	Instrument string   `json:"instrument"`
	FailedAt   string   `json:"failed_at"`
	Check      int64    `json:"check"`
	CheckedAt  string   `json:"checked_at"`
	CheckedBy  string   `json:"checked_by"`
	AsFound    string   `json:"as_found"`
	AsLeft     string   `json:"as_left"`
	Points     []string `json:"points"` // at which it passed, as left
	Reason     string   `json:"reason"`
	Caution    string   `json:"caution"`
}

// AskToReturn puts up for signing that an instrument goes back into use on its last
// check: after it failed it passed, as left, at every point that its limits need, and
// so far around what failed that its return opens no window again.
func (s *Service) AskToReturn(ctx context.Context, sc pg.Scope, code, reason string) (signoff.Record, error) {
	request := map[string]any{"instrument": code, "reason": reason}
	return do(ctx, s, sc, "ask to return", request, statusCreated, func(tx *pg.Tx) (r signoff.Record, err error) {
		if err := asA(ctx, tx, disposition.CalibrationTechnician, disposition.QALead); err != nil {
			return r, err
		}
		if err := said(reason, "reason", "what was done about the failure"); err != nil {
			return r, err
		}
		st, err := instrumentAt(ctx, tx, code, false)
		if err != nil {
			return r, err
		}
		if st.deviation == 0 {
			return r, fault.New(fault.Refused, "not-suspended", "%s is in use: it never failed", code)
		}
		d, err := lockDeviation(ctx, tx, st.deviation)
		if err != nil {
			return r, err
		}
		if err := st.mayReturn(ctx, true); err != nil {
			return r, err
		}
		ret, err := correct.AskReturn(ctx, tx, correct.Return{Instrument: st.id, Deviation: int64(d.ID), Check: *st.Check, Reason: strings.TrimSpace(reason)})
		if err != nil {
			return r, err
		}
		draft, err := returnDraft(ctx, tx, d, st, ret)
		if err != nil {
			return r, err
		}
		if r, err = signoff.Put(ctx, tx, draft); err != nil {
			return r, err
		}
		return r, trail.Append(ctx, tx, trail.Entry{Stream: "instrument/" + code, Action: "instrument.return_proposed", Subject: code, Version: r.Version,
			After: map[string]any{"check": *st.Check, "deviation": d.ID, "record_sha256": r.Digest}, Reason: ret.Reason})
	})
}

// mayReturn says in the trade's words what stands against a return.
func (st InstrumentStanding) mayReturn(ctx context.Context, signed bool) error {
	f := st.facts()
	switch f.Signed = signed; {
	case !f.Trusted:
		return fault.New(fault.Refused, "reference-under-question", "the last check of %s is worth nothing: %s", st.Instrument, st.Untrusted)
	case st.State == InstrumentChecked && !f.GoodEverywhere:
		return fault.New(fault.Refused, "not-passed", "%s goes back into use after one check that passes, as left, at every point that its limits need and that ends what it left in doubt; still to pass: %s", st.Instrument, strings.Join(st.Open, "; "))
	}
	return st.mayDo(ctx, "return", f)
}

func returnDraft(ctx context.Context, tx *pg.Tx, d Deviation, st InstrumentStanding, ret correct.Return) (signoff.Draft, error) {
	c, err := instrument.CheckDone(ctx, tx, ret.Check)
	if err != nil {
		return signoff.Draft{}, err
	}
	w := signedReturn{Instrument: st.Instrument, FailedAt: signedTime(*st.FailedAt), Check: c.ID, CheckedAt: signedTime(c.Check.PerformedAt), CheckedBy: c.Check.PerformedBy,
		AsFound: string(c.Found), AsLeft: string(c.Left), Points: []string{}, Reason: ret.Reason, Caution: caution}
	for i, p := range c.Check.Points {
		w.Points = append(w.Points, fmt.Sprintf("%s %s (%s)", c.Points[i].True, p.Unit, p.Kind))
	}
	return signoff.Draft{Kind: signoff.Return, ID: ret.ID, Deviation: int64(d.ID), Stream: d.stream(), Subjects: []string{"return of " + st.Instrument}, What: w, Reason: "another reason",
		Seats: []signoff.Seat{
			{Role: disposition.CalibrationTechnician, Deed: disposition.Proposed, Meaning: "states that it reads within its tolerance, as left, wherever it is used"},
			{Role: disposition.QALead, Deed: disposition.Approved, Meaning: "agrees that it goes back into use"},
		}}, nil
}

func init() {
	then[signoff.Return] = returnNow
}

// returnNow puts the instrument back into use, if nothing has come in between. The
// event opens no window again that a pass has not closed before it (unsettled), so
// nothing is looked at again.
func returnNow(ctx context.Context, tx *pg.Tx, d *Deviation, r signoff.Record) error {
	ret, err := correct.GetReturn(ctx, tx, r.ID)
	if err != nil {
		return err
	}
	in, err := instrument.Get(ctx, tx, ret.Instrument)
	if err != nil {
		return err
	}
	st, err := instrumentAt(ctx, tx, in.Code, true)
	if err != nil {
		return err
	}
	if st.deviation != d.ID || st.Check == nil || *st.Check != ret.Check {
		return fault.New(fault.Refused, "check-outdated", "check %d is not what is known last of %s since it failed", ret.Check, in.Code)
	}
	if err := st.mayReturn(ctx, true); err != nil {
		return err
	}
	if err := correct.AddOutcome(ctx, tx, ret.Instrument, correct.Outcome{Outcome: "returned", Check: &ret.Check, Reason: ret.Reason}, "in_use"); err != nil {
		return err
	}
	e := instrument.Event{Instrument: in.Code, At: tx.Now, Kind: instrument.ReturnedToUse, Note: fmt.Sprintf("signed return %d on check %d", r.ID, ret.Check)}
	fresh, err := instrument.AddEvents(ctx, tx, []instrument.Event{e})
	if err != nil {
		return err
	}
	if err := (news{events: fresh}).note(ctx, tx); err != nil {
		return err
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: "instrument/" + in.Code, Action: "instrument.returned", Subject: in.Code,
		Before: st.State, After: map[string]any{"state": InstrumentReturned, "check": ret.Check, "deviation": d.ID}, Reason: ret.Reason})
}

// RetireInstrument takes an instrument out of use for good. Its code is never used
// again.
func (s *Service) RetireInstrument(ctx context.Context, sc pg.Scope, code, reason string) (InstrumentStanding, error) {
	return s.endInstrument(ctx, sc, code, "retire", InstrumentRetired, reason)
}

// LoseInstrument records that an instrument that failed cannot be found. One that
// has not failed is first recorded as a check without an as-found, so that what it
// vouched for is in doubt.
func (s *Service) LoseInstrument(ctx context.Context, sc pg.Scope, code, reason string) (InstrumentStanding, error) {
	return s.endInstrument(ctx, sc, code, "lose", InstrumentLost, reason)
}

func (s *Service) endInstrument(ctx context.Context, sc pg.Scope, code string, e Event, to State, reason string) (InstrumentStanding, error) {
	request := map[string]any{"instrument": code, "event": e, "reason": reason}
	return do(ctx, s, sc, "end instrument", request, statusDone, func(tx *pg.Tx) (st InstrumentStanding, err error) {
		if err := tx.OwnPlant(ctx); err != nil { // its removal from use may close a window
			return st, err
		}
		if err := asA(ctx, tx, disposition.CalibrationTechnician, disposition.QALead); err != nil {
			return st, err
		}
		if err := said(reason, "reason", "why it is not used any more"); err != nil {
			return st, err
		}
		if st, err = instrumentAt(ctx, tx, code, true); err != nil {
			return st, err
		}
		if e == "lose" && st.State == InstrumentInUse {
			return st, fault.New(fault.Refused, "record-loss-first", "record a check of %s that found nothing, lost or broken: what it vouched for since it was last good is in doubt", code)
		}
		if err := st.mayDo(ctx, e, instrumentFacts{}); err != nil {
			return st, err
		}
		if err := removed(ctx, tx, st, reason); err != nil {
			return st, err
		}
		if err := correct.AddOutcome(ctx, tx, st.id, correct.Outcome{Outcome: string(to), Reason: reason}, string(to)); err != nil {
			return st, err
		}
		err = trail.Append(ctx, tx, trail.Entry{Stream: "instrument/" + code, Action: "instrument." + string(to), Subject: code, Before: st.State, After: to, Reason: reason})
		if err != nil {
			return st, err
		}
		return instrumentAt(ctx, tx, code, false)
	})
}

// removed records the removal from use of an instrument that nobody removed yet.
func removed(ctx context.Context, tx *pg.Tx, st InstrumentStanding, reason string) error {
	h, err := historyOf(ctx, tx, st.id)
	if err != nil {
		return err
	}
	out := false
	for _, e := range h.Events {
		switch string(e.Kind) {
		case string(instrument.RemovedFromUse):
			out = true
		case string(instrument.ReturnedToUse):
			out = false
		}
	}
	if out {
		return nil
	}
	_, err = recordAll(ctx, tx, Happenings{Events: []instrument.Event{{Instrument: st.Instrument, At: tx.Now, Kind: instrument.RemovedFromUse, Note: reason}}})
	return err
}
