package workflow

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/looplab/fsm"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares text with a file under testdata/golden.
func golden(t *testing.T, name, got string) {
	t.Helper()
	file := filepath.Join("..", "testdata", "golden", name)
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s is stale: go test ./workflow -update\n%s", name, got)
	}
}

func TestProceduresAreSound(t *testing.T) {
	t.Parallel()
	if err := checkProcedures(); err != nil {
		t.Fatal(err)
	}
}

func TestCheckFindsEveryDefect(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		extra Step[Facts]
		says  string
	}{
		"two clauses":   {Step[Facts]{"x", from(Detected), Contain, Traced, anyone, nil}, "stands under"},
		"itself":        {Step[Facts]{"x", from(Traced), Trace, Traced, anyone, nil}, "to itself"},
		"no clause":     {Step[Facts]{"", from(Traced), Trace, Contained, anyone, nil}, "no clause"},
		"no actor":      {Step[Facts]{"x", from(Traced), Trace, Contained, nil, nil}, "no clause, actor"},
		"clash":         {Step[Facts]{"x", from(Traced), "detected", Contained, anyone, nil}, "clashes"},
		"no such place": {Step[Facts]{"x", from(Traced), "vanish", "gone", anyone, nil}, "unknown state"},
	} {
		track := deviationTrack
		track.Steps = append(slices.Clone(track.Steps), c.extra)
		if err := track.check(); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: got %v", name, err)
		}
	}
	short := deviationTrack
	short.Steps = short.Steps[:4]
	if err := short.check(); err == nil || !strings.Contains(err.Error(), "no step leads there") {
		t.Errorf("unreachable: got %v", err)
	}
}

// everything is a deviation in which nothing is left to do.
var everything = Facts{Holds: 1, TraceRuns: 1, TraceCurrent: true, Evaluator: true, PolicyPinned: true, Unchanged: true, Executions: 1, ClosingSigned: true, Cancelled: true}

func but(change func(*Facts)) Facts {
	f := everything
	change(&f)
	return f
}

// factCases are the facts of the golden matrix.
var factCases = []struct {
	name string
	by   actor.Kind
	f    Facts
}{
	{"all there", actor.Person, everything},
	{"nothing there", actor.Person, Facts{Holds: 1, Unacknowledged: 1}},
	{"a hold short", actor.Person, but(func(f *Facts) { f.Short = 1 })},
	{"by a key", actor.Key, everything},
	{"by the system", actor.System, everything},
	{"trace outdated", actor.Person, but(func(f *Facts) { f.TraceCurrent = false })},
	{"findings changed", actor.Person, but(func(f *Facts) { f.Unchanged = false })},
	{"a re-test pending", actor.Person, but(func(f *Facts) { f.TestsPending = 1 })},
	{"a portion undecided", actor.Person, but(func(f *Facts) { f.Undecided = 1 })},
	{"a signature missing", actor.Person, but(func(f *Facts) { f.Unsigned = 1 })},
	{"not carried out", actor.Person, but(func(f *Facts) { f.Unexecuted, f.Executions = 1, 0 })},
	{"something in the way", actor.Person, but(func(f *Facts) { f.InTheWay, f.ReopenAsked = 1, true })},
}

func TestMatrix(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	for _, c := range factCases {
		fmt.Fprintf(&b, "## %s\n", c.name)
		for _, s := range deviationTrack.States {
			for _, e := range deviationTrack.events() {
				to, err := deviationTrack.Next(context.Background(), s, e, c.by, c.f)
				if err != nil {
					fmt.Fprintf(&b, "%-20s %-11s refused: %v\n", s, e, err)
				} else {
					fmt.Fprintf(&b, "%-20s %-11s → %s\n", s, e, to)
				}
			}
		}
	}
	golden(t, "procedure_matrix.txt", b.String())
}

func TestDiagram(t *testing.T) {
	t.Parallel()
	drawn(t, deviationTrack)
}

// drawn compares a written procedure with its golden diagram and table.
func drawn[F any](t *testing.T, track Track[F]) {
	t.Helper()
	text, err := fsm.VisualizeForMermaidWithGraphType(fsm.NewFSM(string(track.States[0]), track.rows(), nil), fsm.StateDiagram)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "procedure_"+track.Name+".mmd", text)
	var b strings.Builder
	b.WriteString("| when | may be done | so that it becomes | by | provided that | asked for by |\n|---|---|---|---|---|---|\n")
	for _, st := range track.Steps {
		var guards []string
		for _, g := range st.Needs {
			guards = append(guards, g.Name)
		}
		fmt.Fprintf(&b, "| %v | %s | %s | %v | %s | %s |\n", st.From, st.Event, st.To, st.By, strings.Join(guards, "; "), st.Clause)
	}
	golden(t, "procedure_"+track.Name+".md", b.String())
}

func TestRefusalSaysAllThatIsMissing(t *testing.T) {
	t.Parallel()
	_, err := deviationTrack.Next(context.Background(), Traced, Evaluate, actor.Key, Facts{})
	var r *Refusal
	if !errors.As(err, &r) || !errors.Is(err, fault.Refused) {
		t.Fatalf("got %v", err)
	}
	want := []string{"a person", "the last trace run knows all evidence", "a person who evaluates named", "the policy version pinned"}
	if !slices.Equal(r.Missing, want) {
		t.Errorf("missing %q, want %q", r.Missing, want)
	}
	if !slices.Equal(r.Allowed, []Event{CancelError, Evaluate, Resume, Widen}) {
		t.Errorf("allowed %q", r.Allowed)
	}
	if _, err := deviationTrack.Next(context.Background(), Traced, Evaluate, actor.Key, everything); !errors.Is(err, fault.Forbidden) {
		t.Errorf("a key that lacks only being a person: got %v, want Forbidden", err)
	}
}

// anyFacts are facts at random, most of them as they are where all is well, so
// that a walk gets far.
func anyFacts(r *rand.Rand) Facts {
	odd := func() bool { return r.IntN(5) == 0 }
	n := func() int {
		if odd() {
			return 1
		}
		return 0
	}
	return Facts{Unacknowledged: n(), Short: n(), TraceRuns: 1 - n(), TraceCurrent: !odd(), Evaluator: !odd(), PolicyPinned: !odd(), Unchanged: !odd(),
		TestsPending: n(), Undecided: n(), Unsigned: n(), Executions: 1 - n(), Unexecuted: n(), InTheWay: n(), ClosingSigned: !odd(), Cancelled: odd(), ReopenAsked: odd()}
}

// TestNoWalkGetsPastAGuard walks 100,000 steps at random. Whatever happens, what a
// state promises was so when it was entered: nothing is closed with a hold, a
// signature or a trace open, nobody evaluates but a person, nothing is contained
// that nobody counted.
func TestNoWalkGetsPastAGuard(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	promise := map[State]func(by actor.Kind, f Facts) bool{
		Contained:         func(_ actor.Kind, f Facts) bool { return f.Unacknowledged+f.Short == 0 },
		AwaitingResults:   func(_ actor.Kind, f Facts) bool { return f.TestsPending > 0 },
		DispositionSigned: func(_ actor.Kind, f Facts) bool { return f.Undecided+f.Unsigned == 0 && f.TraceCurrent },
		Executing:         func(_ actor.Kind, f Facts) bool { return f.TraceCurrent },
		Verifying:         func(_ actor.Kind, f Facts) bool { return f.Unexecuted+f.Unsigned == 0 && f.TraceCurrent },
		CancelledInError:  func(by actor.Kind, f Facts) bool { return by == actor.Person && f.Cancelled },
		Closed: func(by actor.Kind, f Facts) bool {
			return by == actor.Person && f.TraceCurrent && f.ClosingSigned && f.Undecided+f.Unsigned+f.Unexecuted+f.InTheWay == 0
		},
	}
	events := append(deviationTrack.events(), "vanish")
	visits := map[State]int{}
	s := Detected
	for range 100_000 {
		by, f := anyone[r.IntN(3)], anyFacts(r)
		to, err := deviationTrack.Next(context.Background(), s, events[r.IntN(len(events))], by, f)
		if err != nil {
			continue
		}
		if keeps := promise[to]; keeps != nil && !keeps(by, f) {
			t.Fatalf("%s with %+v by %s", to, f, by)
		}
		if s = to; s == CancelledInError {
			s = Detected
		}
		visits[to]++
	}
	for _, s := range States {
		if visits[s] == 0 && s != Detected {
			t.Errorf("the walk never came to %s", s)
		}
	}
}

// A deviation comes to rest: whatever the facts are, no chain of things that
// happen by themselves goes round for ever.
func TestWhatHappensByItselfComesToRest(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	for range 20_000 {
		f := anyFacts(r)
		for _, s := range States {
			at := s
			for step := 0; ; step++ {
				e, more := deviationTrack.due(at, f)
				if !more {
					break
				}
				if step == 2*len(States) {
					t.Fatalf("from %s with %+v", s, f)
				}
				st, _ := deviationTrack.find(at, e)
				at = st.To
			}
		}
	}
}
