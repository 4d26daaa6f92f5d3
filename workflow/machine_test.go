package workflow

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/looplab/fsm"
	"pgregory.net/rapid"

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

func TestProcedureIsSound(t *testing.T) {
	t.Parallel()
	if err := checkProcedure(procedure); err != nil {
		t.Fatal(err)
	}
}

func TestCheckFindsEveryDefect(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		extra Step
		says  string
	}{
		"two clauses":   {Step{"x", from(Detected), Contain, Traced, anyone, nil}, "stands under"},
		"itself":        {Step{"x", from(Traced), Trace, Traced, anyone, nil}, "to itself"},
		"no clause":     {Step{"", from(Traced), Trace, Contained, anyone, nil}, "no clause"},
		"no actor":      {Step{"x", from(Traced), Trace, Contained, nil, nil}, "no clause, actor"},
		"clash":         {Step{"x", from(Traced), "detected", Contained, anyone, nil}, "clashes"},
		"no such place": {Step{"x", from(Traced), "vanish", "gone", anyone, nil}, "unknown state"},
	} {
		err := checkProcedure(append(slices.Clone(procedure), c.extra))
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: got %v", name, err)
		}
	}
	if err := checkProcedure(procedure[:1]); err == nil || !strings.Contains(err.Error(), "no step leads there") {
		t.Errorf("unreachable: got %v", err)
	}
}

var everything = Facts{By: actor.Person, Holds: 1, TraceRuns: 1, TraceCurrent: true, Evaluator: true, PolicyPinned: true}

// factCases are the facts of the golden matrix.
var factCases = []struct {
	name string
	f    Facts
}{
	{"all there", everything},
	{"nothing there", Facts{By: actor.Person, Holds: 1, Unacknowledged: 1}},
	{"a hold short", func() Facts { f := everything; f.Short = 1; return f }()},
	{"by a key", func() Facts { f := everything; f.By = actor.Key; return f }()},
	{"by the system", func() Facts { f := everything; f.By = actor.System; return f }()},
	{"trace outdated", func() Facts { f := everything; f.TraceCurrent = false; return f }()},
}

func TestMatrix(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	events := []Event{Contain, Trace, Evaluate, Widen, Retrace}
	for _, c := range factCases {
		fmt.Fprintf(&b, "## %s\n", c.name)
		for _, s := range States {
			for _, e := range events {
				to, err := Next(context.Background(), s, e, c.f)
				if err != nil {
					fmt.Fprintf(&b, "%-10s %-8s refused: %v\n", s, e, err)
				} else {
					fmt.Fprintf(&b, "%-10s %-8s → %s\n", s, e, to)
				}
			}
		}
	}
	golden(t, "procedure_matrix.txt", b.String())
}

func TestDiagram(t *testing.T) {
	t.Parallel()
	text, err := fsm.VisualizeForMermaidWithGraphType(fsm.NewFSM(string(Detected), rows(procedure), nil), fsm.StateDiagram)
	if err != nil {
		t.Fatal(err)
	}
	golden(t, "procedure.mmd", text)
	var b strings.Builder
	b.WriteString("| when | may be done | so that it becomes | by | provided that | asked for by |\n|---|---|---|---|---|---|\n")
	for _, st := range procedure {
		var guards []string
		for _, g := range st.Needs {
			guards = append(guards, g.Name)
		}
		fmt.Fprintf(&b, "| %v | %s | %s | %v | %s | %s |\n", st.From, st.Event, st.To, st.By, strings.Join(guards, "; "), st.Clause)
	}
	golden(t, "procedure.md", b.String())
}

func TestRefusalSaysAllThatIsMissing(t *testing.T) {
	t.Parallel()
	_, err := Next(context.Background(), Traced, Evaluate, Facts{By: actor.Key})
	var r *Refusal
	if !errors.As(err, &r) || !errors.Is(err, fault.Refused) {
		t.Fatalf("got %v", err)
	}
	want := []string{"a person", "the last trace run knows all evidence", "a person who evaluates named", "the policy version pinned"}
	if !slices.Equal(r.Missing, want) {
		t.Errorf("missing %q, want %q", r.Missing, want)
	}
	if !slices.Equal(r.Allowed, []Event{Evaluate, Widen}) {
		t.Errorf("allowed %q", r.Allowed)
	}
	f := everything
	f.By = actor.Key
	if _, err := Next(context.Background(), Traced, Evaluate, f); !errors.Is(err, fault.Forbidden) {
		t.Errorf("a key that lacks only being a person: got %v, want Forbidden", err)
	}
}

// TestNoWalkEvaluatesUnmet walks at random: whatever happens, nobody evaluates
// without a current trace, a pinned policy and a person, and no deviation is
// contained with a hold open.
func TestNoWalkEvaluatesUnmet(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		s := Detected
		for range 200 {
			f := Facts{By: rapid.SampledFrom(anyone).Draw(t, "by"), Unacknowledged: rapid.IntRange(0, 1).Draw(t, "open"),
				Short: rapid.IntRange(0, 1).Draw(t, "short"), TraceRuns: rapid.IntRange(0, 1).Draw(t, "runs"),
				TraceCurrent: rapid.Bool().Draw(t, "current"), Evaluator: rapid.Bool().Draw(t, "person"), PolicyPinned: rapid.Bool().Draw(t, "pinned")}
			e := rapid.SampledFrom([]Event{Contain, Trace, Evaluate, Widen, Retrace, "vanish"}).Draw(t, "event")
			to, err := Next(context.Background(), s, e, f)
			if err != nil {
				continue
			}
			if to == Evaluating && !(f.By == actor.Person && f.TraceCurrent && f.Evaluator && f.PolicyPinned) {
				t.Fatalf("evaluating with %+v", f)
			}
			if to == Contained && f.Unacknowledged+f.Short > 0 {
				t.Fatalf("contained with %+v", f)
			}
			s = to
		}
	})
}
