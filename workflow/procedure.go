package workflow

import (
	"slices"

	"lastgood/workflow/actor"
)

// State is where a deviation stands.
type State string

// The states, in the order in which the trade works.
const (
	// Detected: a check failed, and the precautionary holds are placed but not
	// all acknowledged. Next to act: whoever guards the stock.
	Detected State = "detected"
	// Contained: every hold is acknowledged with the whole quantity counted.
	// Next: the engine, with a trace.
	Contained State = "contained"
	// Traced: a trace run that knows all evidence is stored, with an assessment
	// of every lot. Next: a qualified person takes the evaluation on.
	Traced State = "traced"
	// Evaluating: a named person evaluates what the last run found, which names the
	// policy version that it was made under. Another policy makes a new run due, and
	// that leads back to traced.
	Evaluating State = "evaluating"
)

// States are all of them.
var States = []State{Detected, Contained, Traced, Evaluating}

// Event is what may happen to a deviation.
type Event string

// The events.
const (
	Contain  Event = "contain"
	Trace    Event = "trace"
	Evaluate Event = "evaluate"
	Widen    Event = "widen"
	Retrace  Event = "retrace"
)

// Facts is what the guards look at, read before the machine is asked.
type Facts struct {
	By             actor.Kind
	Holds          int  // standing
	Unacknowledged int  // of them
	Short          int  // acknowledged with less than the quantity held
	TraceRuns      int  // stored
	TraceCurrent   bool // the last run knows all the evidence
	Evaluator      bool // a person is named
	PolicyPinned   bool // a policy version is stored with the last run
}

// Guard is a condition; its name is the sentence that a person reads.
type Guard struct {
	Name  string
	Holds func(Facts) bool
}

// Step is one row of the procedure.
type Step struct {
	Clause string // what asks for it
	From   []State
	Event  Event
	To     State
	By     []actor.Kind
	Needs  []Guard
}

var (
	anyone   = []actor.Kind{actor.Person, actor.Key, actor.System}
	aPerson  = []actor.Kind{actor.Person}
	byItself = []actor.Kind{actor.System, actor.Person, actor.Key} // fired inside someone's command
)

// procedure is the written procedure, one row a step. Change the document
// first, then this table.
var procedure = []Step{
	{"9 CFR 417.3(b): segregate and hold", from(Detected), Contain, Contained, anyone,
		needs(allAcknowledged, nothingShort)},
	{"21 CFR 117.150(a)(2)(iii): all affected food", from(Contained), Trace, Traced, byItself,
		needs(traceStored, traceCurrent)},
	{"21 CFR 117.150(a)(2)(iii): evaluate for safety", from(Traced), Evaluate, Evaluating, aPerson,
		needs(traceCurrent, evaluatorNamed, policyPinned)},
	{"21 CFR 117.150(a)(2)(iv): newly affected food", from(Contained, Traced, Evaluating), Widen, Detected, byItself,
		needs(newHolds)},
	{"21 CFR 117.150(a)(2)(iii): late evidence", from(Evaluating), Retrace, Traced, byItself,
		needs(traceCurrent)},
}

var (
	allAcknowledged = Guard{"every hold acknowledged", func(f Facts) bool { return f.Unacknowledged == 0 }}
	nothingShort    = Guard{"the whole quantity of every hold counted", func(f Facts) bool { return f.Short == 0 }}
	traceStored     = Guard{"a trace run stored", func(f Facts) bool { return f.TraceRuns > 0 }}
	traceCurrent    = Guard{"the last trace run knows all evidence", func(f Facts) bool { return f.TraceCurrent }}
	evaluatorNamed  = Guard{"a person who evaluates named", func(f Facts) bool { return f.Evaluator }}
	policyPinned    = Guard{"the policy version pinned", func(f Facts) bool { return f.PolicyPinned }}
	newHolds        = Guard{"a hold not yet acknowledged", func(f Facts) bool { return f.Unacknowledged > 0 || f.Short > 0 }}
)

func from(s ...State) []State  { return s }
func needs(g ...Guard) []Guard { return g }

// find returns the step for an event in a state.
func find(table []Step, s State, e Event) (Step, bool) {
	for _, st := range table {
		if st.Event == e && slices.Contains(st.From, s) {
			return st, true
		}
	}
	return Step{}, false
}
