package workflow

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/looplab/fsm"

	"lastgood/workflow/actor"
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
func (t Track[F]) Next(ctx context.Context, s State, e Event, by actor.Kind, f F) (State, error) {
	if !slices.Contains(t.States, s) {
		return "", fmt.Errorf("%s: unknown state %q", t.Name, s)
	}
	m := fsm.NewFSM(string(s), t.rows(), fsm.Callbacks{
		"before_event": func(_ context.Context, ev *fsm.Event) {
			if r := t.refuse(s, e, by, f); r != nil {
				ev.Cancel(r)
			}
		},
	})
	if err := m.Event(ctx, string(e)); err != nil {
		return "", t.refused(err, s, e)
	}
	return State(m.Current()), nil
}

// refuse asks the guards of the step.
func (t Track[F]) refuse(s State, e Event, by actor.Kind, f F) *Refusal {
	step, ok := t.find(s, e)
	if !ok {
		return &Refusal{State: s, Event: e, Allowed: t.Allowed(s)}
	}
	var missing []string
	if !slices.Contains(step.By, by) {
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
	return &Refusal{State: s, Event: e, Clause: step.Clause, Missing: missing, Allowed: t.Allowed(s)}
}

func (t Track[F]) refused(err error, s State, e Event) error {
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
		r = &Refusal{State: s, Event: e, Allowed: t.Allowed(s)}
		return &fault.Error{Kind: fault.Refused, Rule: "transition-not-allowed", Detail: r.Error(), Err: r}
	}
	return err
}

// rows puts the table into the library's form.
func (t Track[F]) rows() fsm.Events {
	var out fsm.Events
	for _, st := range t.Steps {
		src := make([]string, len(st.From))
		for i, s := range st.From {
			src[i] = string(s)
		}
		out = append(out, fsm.EventDesc{Name: string(st.Event), Src: src, Dst: string(st.To)})
	}
	return out
}

// check returns every defect of the table: the library would swallow most of
// them.
func (t Track[F]) check() error {
	var errs []error
	type key struct {
		s State
		e Event
	}
	seen := map[key]string{}
	for _, st := range t.Steps {
		if st.Clause == "" || len(st.By) == 0 || len(st.From) == 0 {
			errs = append(errs, fmt.Errorf("step %s to %s: no clause, actor or source", st.Event, st.To))
		}
		if slices.Contains(t.States, State(st.Event)) || st.Event == "event" || st.Event == "state" {
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
			if !slices.Contains(t.States, s) || !slices.Contains(t.States, st.To) {
				errs = append(errs, fmt.Errorf("step %s: unknown state %s or %s", st.Event, s, st.To))
			}
		}
	}
	for _, s := range t.unreached() {
		errs = append(errs, fmt.Errorf("state %s: no step leads there", s))
	}
	if len(errs) > 0 {
		return fmt.Errorf("procedure of the %s: %w", t.Name, errors.Join(errs...))
	}
	return nil
}

// unreached returns the states that no chain of steps leads to.
func (t Track[F]) unreached() (out []State) {
	reached := map[State]bool{t.States[0]: true}
	for range t.States { // as many rounds as states reach whatever can be reached
		for _, st := range t.Steps {
			for _, s := range st.From {
				reached[st.To] = reached[st.To] || reached[s]
			}
		}
	}
	for _, s := range t.States {
		if !reached[s] {
			out = append(out, s)
		}
	}
	return out
}
