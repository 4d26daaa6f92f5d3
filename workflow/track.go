package workflow

import (
	"errors"
	"slices"

	"lastgood/workflow/actor"
)

// State is where something stands: a deviation, a portion, a recall.
type State string

// Event is what may happen to it.
type Event string

// Guard is a condition over facts; its name is the sentence that a person reads.
type Guard[F any] struct {
	Name  string
	Holds func(F) bool
}

// Step is one row of a written procedure.
type Step[F any] struct {
	Clause string // what asks for it
	From   []State
	Event  Event
	To     State
	By     []actor.Kind
	Needs  []Guard[F]
}

// Track is the written procedure of one sort of thing: its states in the order
// in which the trade works, the first one where it begins, and its steps. F is
// what the guards look at.
type Track[F any] struct {
	Name   string
	States []State
	Steps  []Step[F]
}

var (
	anyone   = []actor.Kind{actor.Person, actor.Key, actor.System}
	aPerson  = []actor.Kind{actor.Person}
	byItself = []actor.Kind{actor.System, actor.Person, actor.Key} // fired inside someone's command
)

func from(s ...State) []State               { return s }
func needs[F any](g ...Guard[F]) []Guard[F] { return g }

// find returns the step for an event in a state.
func (t Track[F]) find(s State, e Event) (Step[F], bool) {
	for _, st := range t.Steps {
		if st.Event == e && slices.Contains(st.From, s) {
			return st, true
		}
	}
	return Step[F]{}, false
}

// Allowed lists the events that the procedure has from a state, sorted; their
// guards are not asked.
func (t Track[F]) Allowed(s State) []Event {
	var out []Event
	for _, st := range t.Steps {
		if slices.Contains(st.From, s) {
			out = append(out, st.Event)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// events lists all events of the track, in the order of the steps.
func (t Track[F]) events() []Event {
	var out []Event
	for _, st := range t.Steps {
		if !slices.Contains(out, st.Event) {
			out = append(out, st.Event)
		}
	}
	return out
}

// checkProcedures returns every defect of every procedure.
func checkProcedures() error {
	return errors.Join(deviationTrack.check(), portionTrack.check(), holdTrack.check(), recallTrack.check(), notificationTrack.check(), retestTrack.check(), instrumentTrack.check(), lineTrack.check(), planTrack.check())
}
