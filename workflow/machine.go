package workflow

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/looplab/fsm"

	"lastgood/workflow/fault"
)

// Refusal says why an event may not happen now: all that is missing, and what
// may happen instead.
type Refusal struct {
	State   State
	Event   Event
	Clause  string // empty: the procedure has no such step from here
	Missing []string
	Allowed []Event
}

// Error returns the refusal as one sentence.
func (r *Refusal) Error() string {
	where := fmt.Sprintf("%s refused in %s", r.Event, r.State)
	if r.Clause != "" {
		where += " (" + r.Clause + ")"
	}
	if len(r.Missing) > 0 {
		where += ": missing " + strings.Join(r.Missing, ", ")
	}
	allowed := "nothing"
	if len(r.Allowed) > 0 {
		s := make([]string, len(r.Allowed))
		for i, e := range r.Allowed {
			s[i] = string(e)
		}
		allowed = strings.Join(s, ", ")
	}
	return where + "; the procedure has from here: " + allowed
}

// Next returns the state that an event leads to, or a fault whose cause is a
// *Refusal. The machine is built for the one question and thrown away: the
// library keeps no state of ours and runs none of our work.
func Next(ctx context.Context, s State, e Event, f Facts) (State, error) {
	if !slices.Contains(States, s) {
		return "", fmt.Errorf("unknown state %q", s)
	}
	m := fsm.NewFSM(string(s), rows(procedure), fsm.Callbacks{
		"before_event": func(_ context.Context, ev *fsm.Event) {
			if r := refuse(s, e, f); r != nil {
				ev.Cancel(r)
			}
		},
	})
	if err := m.Event(ctx, string(e)); err != nil {
		return "", refused(err, s, e)
	}
	return State(m.Current()), nil
}

// refuse asks the guards of the step.
func refuse(s State, e Event, f Facts) *Refusal {
	step, ok := find(procedure, s, e)
	if !ok {
		return &Refusal{State: s, Event: e, Allowed: allowedFrom(s)}
	}
	var missing []string
	if !slices.Contains(step.By, f.By) {
		missing = append(missing, "a person")
	}
	for _, g := range step.Needs {
		if !g.Holds(f) {
			missing = append(missing, g.Name)
		}
	}
	if missing == nil {
		return nil
	}
	return &Refusal{State: s, Event: e, Clause: step.Clause, Missing: missing, Allowed: allowedFrom(s)}
}

func refused(err error, s State, e Event) error {
	var r *Refusal
	var cancelled fsm.CanceledError
	if errors.As(err, &cancelled) && errors.As(cancelled.Err, &r) {
		kind := fault.Refused
		if len(r.Missing) == 1 && r.Missing[0] == "a person" {
			kind = fault.Forbidden
		}
		return &fault.Error{Kind: kind, Rule: "transition-not-allowed", Detail: r.Error(), Err: r}
	}
	var invalid fsm.InvalidEventError
	var unknown fsm.UnknownEventError
	if errors.As(err, &invalid) || errors.As(err, &unknown) {
		r = &Refusal{State: s, Event: e, Allowed: allowedFrom(s)}
		return &fault.Error{Kind: fault.Refused, Rule: "transition-not-allowed", Detail: r.Error(), Err: r}
	}
	return err
}

// allowedFrom lists the events that the procedure has from a state, sorted; their
// guards are not asked.
func allowedFrom(s State) []Event {
	var out []Event
	for _, st := range procedure {
		if slices.Contains(st.From, s) {
			out = append(out, st.Event)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// rows puts the table into the library's form.
func rows(table []Step) fsm.Events {
	var out fsm.Events
	for _, st := range table {
		src := make([]string, len(st.From))
		for i, s := range st.From {
			src[i] = string(s)
		}
		out = append(out, fsm.EventDesc{Name: string(st.Event), Src: src, Dst: string(st.To)})
	}
	return out
}

// checkProcedure returns every defect of a table: the library would swallow
// most of them.
func checkProcedure(table []Step) error {
	var errs []error
	type key struct {
		s State
		e Event
	}
	seen := map[key]string{}
	reached := map[State]bool{States[0]: true}
	for _, st := range table {
		if st.Clause == "" || len(st.By) == 0 || len(st.From) == 0 {
			errs = append(errs, fmt.Errorf("step %s to %s: no clause, actor or source", st.Event, st.To))
		}
		if slices.Contains(States, State(st.Event)) || st.Event == "event" || st.Event == "state" {
			errs = append(errs, fmt.Errorf("event %s: the name clashes in the library", st.Event))
		}
		for _, s := range st.From {
			if s == st.To {
				errs = append(errs, fmt.Errorf("step %s: leads from %s to itself", st.Event, s))
			}
			if other, dup := seen[key{s, st.Event}]; dup {
				errs = append(errs, fmt.Errorf("step %s from %s: stands under %q and %q", st.Event, s, other, st.Clause))
			}
			seen[key{s, st.Event}] = st.Clause
			if !slices.Contains(States, s) || !slices.Contains(States, st.To) {
				errs = append(errs, fmt.Errorf("step %s: unknown state %s or %s", st.Event, s, st.To))
			}
		}
	}
	for range States { // as many rounds as states reach whatever can be reached
		for _, st := range table {
			for _, s := range st.From {
				reached[st.To] = reached[st.To] || reached[s]
			}
		}
	}
	for _, s := range States {
		if !reached[s] {
			errs = append(errs, fmt.Errorf("state %s: no step leads there", s))
		}
	}
	return errors.Join(errs...)
}
