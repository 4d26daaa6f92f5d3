package workflow

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"lastgood/policy/disposition"
	"lastgood/policy/limit"
	"lastgood/policy/series"
	"lastgood/policy/unit"
	"lastgood/workflow/correct"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// The states of the line at the control point, after a failure.
const (
	LineInControl State = "in_control" // nobody has said that the failure touched it
	LineStopped   State = "stopped"
	LineOnBackup  State = "running_on_backup"
	LineRestored  State = "restored"
)

// lineFacts is what the guards of the line look at.
type lineFacts struct {
	GoodInstrument bool // it passed its last check, and is in use and not in doubt
	GoodReading    bool // by it, after the failure
}

var lineTrack = Track[lineFacts]{
	Name:   "line",
	States: []State{LineInControl, LineStopped, LineOnBackup, LineRestored},
	Steps: []Step[lineFacts]{
		{"9 CFR 417.3(a)(2): not under control", from(LineInControl, LineOnBackup, LineRestored), "stop", LineStopped, aPerson, nil},
		{"design notes on the procedure, T05: good replacement instrument, good reading", from(LineInControl, LineStopped, LineRestored), "run_on_backup", LineOnBackup, aPerson, needs(goodInstrument, goodReading)},
		{"9 CFR 417.3(a)(2): under control after the corrective action", from(LineStopped, LineOnBackup), "restore", LineRestored, aPerson, needs(goodInstrument, goodReading)},
	},
}

var (
	goodInstrument = Guard[lineFacts]{"an instrument in use that passed its last check", func(f lineFacts) bool { return f.GoodInstrument }}
	goodReading    = Guard[lineFacts]{"a good reading by it after the failure", func(f lineFacts) bool { return f.GoodReading }}
)

// LineStanding is where the line at the control point stands.
type LineStanding struct {
	State   State
	Events  []correct.LineEvent
	Allowed []Event
}

func lineOf(ctx context.Context, tx *pg.Tx, d Deviation) (l LineStanding, err error) {
	if l.Events, err = correct.Line(ctx, tx, int64(d.ID)); err != nil {
		return l, err
	}
	l.State = LineInControl
	for _, e := range l.Events { // each was allowed when it was recorded
		step, ok := lineTrack.find(l.State, Event(e.Event))
		if !ok {
			return l, fmt.Errorf("line event %d: no %s from %s", e.ID, e.Event, l.State)
		}
		l.State = step.To
	}
	l.Allowed = lineTrack.Allowed(l.State)
	return l, nil
}

// NewLineEvent is what happened at the control point.
type NewLineEvent struct {
	Event      Event      `json:"event"` // stop, run_on_backup, restore
	At         time.Time  `json:"at"`
	Instrument string     `json:"instrument"` // that it is read with from then on; empty: it stands
	ReadingAt  *time.Time `json:"reading_at"` // when it read what shows control
	Note       string     `json:"note"`
	Evidence   []NewPaper `json:"evidence"`
}

// RecordLine records that the line was stopped, runs on a backup or is restored: by
// whoever supervises it, or QA. What runs is read with a good instrument, and a
// good reading shows it.
func (s *Service) RecordLine(ctx context.Context, sc pg.Scope, id DeviationID, n NewLineEvent) (LineStanding, error) {
	c, err := s.correcting(ctx, sc, "record line", id, n, func(tx *pg.Tx, d *Deviation) error {
		if err := asA(ctx, tx, disposition.LineSupervisor, disposition.QALead); err != nil {
			return err
		}
		if err := inTheFuture(n.At, tx.Now, "at"); err != nil {
			return err
		}
		if err := said(n.Note, "note", "what was done at the line"); err != nil {
			return err
		}
		return lineEvent(ctx, tx, *d, n)
	})
	return c.Line, err
}

func lineEvent(ctx context.Context, tx *pg.Tx, d Deviation, n NewLineEvent) error {
	l, err := lineOf(ctx, tx, d)
	if err != nil {
		return err
	}
	e := correct.LineEvent{Deviation: int64(d.ID), Event: string(n.Event), At: n.At, Note: n.Note}
	f, against, err := shown(ctx, tx, d, n, &e)
	if err != nil {
		return err
	}
	to, err := lineTrack.Next(ctx, l.State, n.Event, tx.By.Kind, f)
	if err != nil {
		return l.inFacts(err, n.Event, against)
	}
	if e.Papers, err = keepPapers(ctx, tx, n.Evidence); err != nil {
		return err
	}
	if e, err = correct.AddLine(ctx, tx, e); err != nil {
		return err
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "line." + string(n.Event), Subject: fmt.Sprint(d.ID), Version: int(e.ID), HappenedAt: n.At,
		Before: l.State, After: map[string]any{"state": to, "instrument": n.Instrument, "check": e.Check, "reading_at": n.ReadingAt, "evidence": signedPapers(e.Papers)}, Reason: n.Note})
}

// shown looks whether the instrument is good and read well after the failure, and
// says what is known against it.
func shown(ctx context.Context, tx *pg.Tx, d Deviation, n NewLineEvent, e *correct.LineEvent) (f lineFacts, against []string, err error) {
	if n.Event == "stop" {
		return f, nil, nil
	}
	if n.ReadingAt == nil {
		return f, nil, fault.New(fault.Invalid, "time-missing", "say when it read what shows control").In("reading_at")
	}
	in, err := instrument.ByCode(ctx, tx, n.Instrument)
	if err != nil {
		return f, nil, err
	}
	h, err := historyOf(ctx, tx, in.ID)
	if err != nil {
		return f, nil, err
	}
	if len(h.Checks) == 0 {
		return f, nil, fault.New(fault.Refused, "never-checked", "%s was never checked: nobody knows whether it reads right", n.Instrument).In("instrument")
	}
	last := h.Checks[len(h.Checks)-1]
	e.Check, e.Instrument, e.ReadingAt = &last.ID, &in.ID, n.ReadingAt
	bad, err := notGood(ctx, tx, in, last)
	if err != nil {
		return f, nil, err
	}
	unread, err := notShown(ctx, tx, d, in, *n.ReadingAt)
	if err != nil {
		return f, nil, err
	}
	f.GoodInstrument, f.GoodReading = bad == "", unread == ""
	against = slices.DeleteFunc([]string{bad, unread}, func(why string) bool { return why == "" })
	return f, against, nil
}

// notGood says why a line may not be read with an instrument; empty: it may.
func notGood(ctx context.Context, tx *pg.Tx, in instrument.Registered, last instrument.Recorded) (string, error) {
	why, err := inDoubtNow(ctx, tx, in.ID)
	if err == nil && why == "" {
		why = outOfService(in)
	}
	switch {
	case err != nil:
		return "", err
	case why != "":
		return in.Code + " may not be used: " + why, nil
	case !endsDoubt(&last):
		return fmt.Sprintf("%s did not clearly pass its last check, made at %s", in.Code, signedTime(time.UnixMicro(last.At))), nil
	}
	return "", nil
}

// notShown says why an instrument's reading of a time does not show that the line is
// under control; empty: it does.
func notShown(ctx context.Context, tx *pg.Tx, d Deviation, in instrument.Registered, at time.Time) (string, error) {
	if !at.After(d.FailedAt) {
		return fmt.Sprintf("%s is not after the failure at %s: a reading from then on shows control", signedTime(at), signedTime(d.FailedAt)), nil
	}
	list, err := correct.ReadAt(ctx, tx, in.ID, at)
	if err != nil {
		return "", err
	}
	if len(list) == 0 {
		return fmt.Sprintf("%s has no reading at %s", in.Code, signedTime(at)), nil
	}
	missed, err := missedAt(ctx, tx, at, list)
	if err != nil || missed == nil {
		return "", err
	}
	return fmt.Sprintf("%s read %.*f %s at %s, which does not meet the limit %q", in.Code, missed.Dec, missed.Value, missed.Unit, signedTime(at), missed.Limit), nil
}

// inFacts says a refusal of the track with what is known, so that whoever reads it
// knows what to do.
func (l LineStanding) inFacts(err error, e Event, against []string) error {
	if _, ok := lineTrack.find(l.State, e); !ok {
		against = []string{l.outOfTurn(e)}
	}
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != fault.Refused || len(against) == 0 {
		return err
	}
	said := *f
	said.Detail = strings.Join(against, "; ")
	return &said
}

// outOfTurn says why an event does not follow on where the line stands.
func (l LineStanding) outOfTurn(e Event) string {
	switch {
	case e == "restore" && l.State == LineInControl:
		return "the line was never recorded as stopped: record that first"
	case e == "stop" && l.State == LineStopped:
		return "the line is recorded as stopped already"
	case e == "run_on_backup" && l.State == LineOnBackup:
		return "the line is recorded as running on another instrument already: record that it stopped first"
	case e == "restore" && l.State == LineRestored:
		return "the line is recorded as restored already"
	}
	return fmt.Sprintf("the procedure has no %s where the line is %s", e, l.State)
}

func historyOf(ctx context.Context, tx *pg.Tx, id instrument.ID) (instrument.History, error) {
	in, err := instrument.Get(ctx, tx, id)
	if err != nil {
		return instrument.History{}, err
	}
	return instrument.LoadHistory(ctx, tx, in)
}

// missedAt is the reading that is not what its limit asks for; nil: none is. Of a
// limit that takes more than one reading the reading shows only that it is read,
// and the people who record it stand for the rest.
func missedAt(ctx context.Context, tx *pg.Tx, at time.Time, list []correct.Read) (*correct.Read, error) {
	p, err := currentPolicy(ctx, tx)
	if err != nil {
		return nil, err
	}
	for i, r := range list {
		for _, l := range p.Limits {
			if l.Name != r.Limit || l.Kind != "at_least" && l.Kind != "at_most" {
				continue
			}
			one := series.Series{Scale: l.Criterion.Scale(), Samples: []series.Sample{l.Sample(at.UnixMicro(), r.Value, unit.Scale(r.Unit[0]))}}
			if l.Criterion.Judge(one).Decision != limit.Holds {
				return &list[i], nil
			}
		}
	}
	return nil, nil
}

// signedOnLine is what is signed of the line.
type signedOnLine struct {
	Event      string        `json:"event"`
	At         string        `json:"at"`
	Instrument string        `json:"instrument,omitzero"`
	Check      *int64        `json:"check,omitzero"`
	ReadingAt  string        `json:"reading_at,omitzero"`
	Note       string        `json:"note"`
	By         string        `json:"recorded_by"`
	Evidence   []signedPaper `json:"evidence"`
}

func signedOfLine(e correct.LineEvent) signedOnLine {
	out := signedOnLine{Event: e.Event, At: signedTime(e.At), Instrument: orEmpty(e.Code), Check: e.Check, Note: e.Note, By: e.By, Evidence: signedPapers(e.Papers)}
	if e.ReadingAt != nil {
		out.ReadingAt = signedTime(*e.ReadingAt)
	}
	return out
}
