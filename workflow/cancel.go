package workflow

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/lib/pq"

	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

// signedCancellation is what is signed where a failed check was no check.
type signedCancellation struct {
	Failed     checkSaid `json:"failed"`
	Repeat     checkSaid `json:"repeat"`
	Instrument string    `json:"instrument"`
	Reason     string    `json:"reason"`
}

type checkSaid struct {
	ID      int64     `json:"check" db:"check_id"`
	At      time.Time `json:"at" db:"performed_at"`
	By      string    `json:"performed_by" db:"performed_by"`
	Second  string    `json:"verified_by" db:"verified_by"`
	Verdict string    `json:"verdict" db:"found_verdict"`
}

// mayCancel looks at the two checks: the repeat passed, came after the failed one,
// of the same instrument, by two people, and nothing was done to the instrument in
// between (design notes on the procedure, T22, X38).
func mayCancel(ctx context.Context, tx *pg.Tx, d Deviation, repeat int64, reason string) (w signedCancellation, err error) {
	switch {
	case strings.TrimSpace(reason) == "":
		return w, fault.New(fault.Invalid, "reason-missing", "say what was wrong with the check: its method, its reference, a mix-up").In("reason")
	case d.CheckID == nil:
		return w, fault.New(fault.Refused, "no-check", "deviation %d was not opened by a check: there is none to be found wrong", d.ID)
	case d.State != Detected && d.State != Contained && d.State != Traced:
		return w, fault.New(fault.Refused, "transition-not-allowed", "deviation %d is %s: a check is found wrong before anyone has evaluated it", d.ID, d.State)
	}
	const said = `select check_id, performed_at, performed_by, verified_by, found_verdict from accuracy_check where plant_id = $1 and check_id = $2 and instrument_id = $3`
	if err := tx.GetContext(ctx, &w.Failed, said, tx.Plant, *d.CheckID, d.Instrument); err != nil {
		return w, err
	}
	err = tx.GetContext(ctx, &w.Repeat, said, tx.Plant, repeat, d.Instrument)
	if errors.Is(err, sql.ErrNoRows) {
		return w, fault.New(fault.NotFound, "unknown-check", "the instrument of deviation %d has no check %d", d.ID, repeat).In("repeat")
	}
	if err != nil {
		return w, err
	}
	var touched int
	const between = `select count(*) from instrument_event where plant_id = $1 and instrument_id = $2 and at between $3 and $4
		and kind not in ('removed_from_use', 'returned_to_use', 'other')`
	if err := tx.GetContext(ctx, &touched, between, tx.Plant, d.Instrument, w.Failed.At, w.Repeat.At); err != nil {
		return w, err
	}
	w.Reason = reason
	switch {
	case w.Repeat.Verdict != "pass" || !w.Repeat.At.After(w.Failed.At):
		return w, fault.New(fault.Refused, "repeat-not-passed", "check %d did not pass after the failed one", repeat).In("repeat")
	case w.Repeat.By == "" || w.Repeat.Second == "" || w.Repeat.By == w.Repeat.Second:
		return w, fault.New(fault.Refused, "second-person-missing", "the repeat needs two people: one who does it and one who verifies it").In("repeat")
	case touched > 0:
		return w, fault.New(fault.Refused, "instrument-touched", "something was done to the instrument between the two checks: the failed one stands").In("repeat")
	}
	const adjusted = `select count(*) from check_point where plant_id = $1 and check_id = any($2) and as_left is not null`
	err = tx.GetContext(ctx, &touched, adjusted, tx.Plant, pq.Array([]int64{w.Failed.ID, w.Repeat.ID}))
	if err == nil && touched > 0 {
		return w, fault.New(fault.Refused, "instrument-touched", "the instrument was adjusted: the failed check stands").In("repeat")
	}
	if err != nil {
		return w, err
	}
	if err := nothingBetween(ctx, tx, d, w); err != nil {
		return w, err
	}
	return w, tx.GetContext(ctx, &w.Instrument, `select code from instrument where plant_id = $1 and instrument_id = $2`, tx.Plant, d.Instrument)
}

// nothingBetween refuses a repeat that is not to be trusted, and one before which
// another check did not pass either: that one asks for the deviation too, and is not
// shown to be no check.
func nothingBetween(ctx context.Context, tx *pg.Tx, d Deviation, w signedCancellation) error {
	in, err := instrument.Get(ctx, tx, d.Instrument)
	if err != nil {
		return err
	}
	h, err := instrument.LoadHistory(ctx, tx, in)
	if err != nil {
		return err
	}
	failed := slices.IndexFunc(h.Checks, func(c instrument.Recorded) bool { return c.ID == w.Failed.ID })
	for i, c := range h.Checks {
		switch {
		case c.ID == w.Repeat.ID && !endsDoubt(&c):
			return fault.New(fault.Refused, "repeat-not-passed", "check %d does not clearly show that the instrument was right", c.ID).In("repeat")
		case i > failed && c.At <= w.Repeat.At.UnixMicro() && c.ID != w.Repeat.ID && !passed(&c):
			return fault.New(fault.Refused, "another-failed", "check %d did not pass either, and the repeat shows nothing of it", c.ID).In("repeat")
		}
	}
	return nil
}

func init() {
	then[signoff.Cancellation] = cancelNow
	beforehand[signoff.Cancellation] = stillToCancel
}

// stillToCancel refuses to let a cancellation be signed that would not be put up for
// signing any more: of the two checks, or of the instrument, something else is known
// now.
func stillToCancel(ctx context.Context, tx *pg.Tx, r signoff.Record) error {
	d, err := lockDeviation(ctx, tx, DeviationID(r.Deviation))
	if err != nil {
		return err
	}
	var w signedCancellation
	if err := json.Unmarshal(r.What, &w); err != nil {
		return fmt.Errorf("cancellation %d: %w", r.ID, err)
	}
	_, err = mayCancel(ctx, tx, d, w.Repeat.ID, w.Reason)
	return err
}

// cancelNow ends the deviation and lifts its holds: what QA and two others signed
// stands for QA's lifting.
func cancelNow(ctx context.Context, tx *pg.Tx, d *Deviation, r signoff.Record) error {
	f, err := factsOf(ctx, tx, *d)
	if err != nil {
		return err
	}
	f.Cancelled = true
	if err := fire(ctx, tx, d, CancelError, f); err != nil {
		return err
	}
	holds, err := hold.Of(ctx, tx, int64(d.ID))
	if err != nil {
		return err
	}
	for _, h := range holds {
		if err := liftOne(ctx, tx, h, fmt.Sprintf("the check that failed was no check: cancellation %d", r.ID)); err != nil {
			return err
		}
	}
	return nil
}
