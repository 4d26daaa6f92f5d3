package workflow

import (
	"bytes"
	"context"
	"fmt"
	"slices"

	"lastgood/workflow/actor"
	"lastgood/workflow/hold"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// The state of a deviation follows from what its tracks say. Every command that
// changes something of a deviation ends with advance, which lets happen whatever
// the procedure has from here by itself; what only a person may do is done in
// that person's command.

// advance lets the state follow from the facts, as far as it goes by itself.
func advance(ctx context.Context, tx *pg.Tx, d *Deviation) error {
	for range 2 * len(States) {
		f, err := factsOf(ctx, tx, *d)
		if err != nil {
			return err
		}
		e, any := deviationTrack.due(d.State, f)
		if !any {
			return nil
		}
		if err := fire(ctx, tx, d, e, f); err != nil {
			return err
		}
	}
	return fmt.Errorf("deviation %d does not come to rest in %s", d.ID, d.State)
}

// due returns the first event, in the order of the table, that happens by itself
// now.
func (t Track[F]) due(s State, f F) (Event, bool) {
	for _, st := range t.Steps {
		if slices.Contains(st.From, s) && slices.Contains(st.By, actor.System) && !slices.ContainsFunc(st.Needs, func(g Guard[F]) bool { return !g.Holds(f) }) {
			return st.Event, true
		}
	}
	return "", false
}

// fire lets an event happen to a deviation: the machine says what state it leads
// to, the row says whether anyone was faster.
func fire(ctx context.Context, tx *pg.Tx, d *Deviation, e Event, f Facts) error {
	to, err := deviationTrack.Next(ctx, d.State, e, tx.By.Kind, f)
	if err != nil {
		return err
	}
	const move = `update deviation set state = $3, version = version + 1, reopened = reopened + $6,
		reopen_asked = case when $3 = 'reopened' then null else reopen_asked end
		where plant_id = $1 and deviation_id = $2 and state = $4 and version = $5`
	again := 0
	if to == Reopened {
		again = 1
	}
	res, err := tx.ExecContext(ctx, move, tx.Plant, d.ID, to, d.State, d.Version, again)
	if err != nil {
		return err
	}
	if n, _ := res.RowsAffected(); n != 1 {
		return stale(*d, d.Version)
	}
	before, why := d.State, ""
	if to == Reopened && d.ReopenAsked != nil {
		why, d.ReopenAsked = *d.ReopenAsked, nil
	}
	d.State, d.Version, d.Reopened = to, d.Version+1, d.Reopened+again
	return trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "deviation." + string(e), Subject: fmt.Sprint(d.ID),
		Version: d.Version, Before: before, After: to, Reason: why})
}

// factsOf reads what the guards look at.
func factsOf(ctx context.Context, tx *pg.Tx, d Deviation) (Facts, error) {
	holds, err := hold.Of(ctx, tx, int64(d.ID))
	if err != nil {
		return Facts{}, err
	}
	f := Facts{Holds: len(holds), TraceCurrent: d.RetraceDue == nil, Evaluator: d.Evaluator != nil, ReopenAsked: d.ReopenAsked != nil}
	for _, h := range holds {
		switch {
		case h.AcknowledgedAt == nil:
			f.Unacknowledged++
		case h.Short:
			f.Short++
		}
	}
	const runs = `select count(*) from trace_run where plant_id = $1 and deviation_id = $2`
	if err := tx.GetContext(ctx, &f.TraceRuns, runs, tx.Plant, d.ID); err != nil {
		return f, err
	}
	f.TraceCurrent = f.TraceCurrent && f.TraceRuns > 0
	f.PolicyPinned = f.TraceRuns > 0
	if f.TraceRuns == 0 || !d.decidable(f) {
		return f, nil
	}
	return f, decidedFacts(ctx, tx, d, &f)
}

// decidable says whether anything that was found or decided bears on where the
// deviation stands: not while holds are open or no current run is there, nor
// before anyone has evaluated it.
func (d Deviation) decidable(f Facts) bool {
	switch d.State {
	case Detected, Contained, Reopened, CancelledInError:
		return false
	case Traced:
		return f.Evaluator
	}
	return true
}

// decidedFacts reads what was found and decided, which there is nothing of before
// the first run. Closing and cancelling are a person's: what they need is read in
// that person's command.
func decidedFacts(ctx context.Context, tx *pg.Tx, d Deviation, f *Facts) error {
	c, err := docketOf(ctx, tx, d)
	if err != nil {
		return err
	}
	f.Unchanged = d.Evaluated != nil && bytes.Equal(d.Evaluated, c.digest)
	f.Undecided, f.Unsigned, f.Executions, f.Unexecuted = c.counts()
	f.TestsPending = c.testsPending()
	return nil
}
