package api

import (
	"fmt"
	"net/http"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"

	"lastgood/policy/disposition"
	"lastgood/workflow/person"
)

const goldenMatrix = "../testdata/golden/authorization.txt"

// column is one kind of caller of the matrix.
type column struct {
	head, means string
	role        disposition.Role // empty: nobody, or the key
	secret      string
}

// columns are all who may knock: nobody, a key, and each role by itself.
var columns = []column{
	{head: "none", means: "nobody: nothing is shown"},
	{head: "key", means: "a key with every scope there is"},
	{head: "oper", role: disposition.Operator}, {head: "supv", role: disposition.LineSupervisor},
	{head: "tech", role: disposition.CalibrationTechnician}, {head: "qa", role: disposition.QALead},
	{head: "qual", role: disposition.QualifiedPerson}, {head: "proc", role: disposition.ProcessAuthority},
	{head: "mngr", role: disposition.PlantManager}, {head: "liai", role: disposition.RegulatoryLiaison},
	{head: "veri", role: disposition.Verifier}, {head: "revw", role: disposition.Reviewer},
	{head: "insp", role: disposition.Inspector}, {head: "admn", role: disposition.Administrator},
}

// doorRules are the words with which the door refuses; anything else comes from
// behind it.
var doorRules = []string{"key-missing", "unknown-key", "key-ended", "unknown-session", "session-ended", "scope-missing", "human-signature-required"}

// cells asks every operation of every caller over HTTP. true: the door let them in,
// whatever was said to the example behind it.
func cells(t *testing.T) (ops []operation, callers []column, in map[string][]bool) {
	t.Helper()
	p := newPlant(t)
	callers = slices.Clone(columns)
	for i, c := range callers {
		switch {
		case c.role != "":
			callers[i].means = strings.ReplaceAll(string(c.role), "_", " ")
			callers[i].secret = "Bearer " + p.enters(c.head, p.joins(c.head, c.role)).key
		case c.head == "key":
			callers[i].secret = "Bearer " + p.key
		}
	}
	ops = operations(contract())
	last := func(o operation) bool { return o.OperationID == "sign-out" } // the session is needed until then
	ops = append(slices.DeleteFunc(slices.Clone(ops), last), ops[slices.IndexFunc(ops, last)])
	in = map[string][]bool{}
	for _, op := range ops {
		for _, c := range callers {
			in[op.OperationID] = append(in[op.OperationID], p.letsIn(op, c))
		}
	}
	return ops, callers, in
}

// letsIn says whether the door lets a caller in.
func (p *plant) letsIn(op operation, c column) bool {
	p.t.Helper()
	path, body, headers := op.example()
	res, said := p.call(op.Method, path, body, append(headers, "Authorization", c.secret)...)
	if res.StatusCode >= 500 {
		p.t.Errorf("%s by %s: %d %s", op.OperationID, c.head, res.StatusCode, said)
	}
	if res.StatusCode != http.StatusUnauthorized && res.StatusCode != http.StatusForbidden {
		return true
	}
	var doc Problem
	if err := json.Unmarshal([]byte(said), &doc); err != nil {
		p.t.Fatalf("%s by %s: %v\n%s", op.OperationID, c.head, err, said)
	}
	return !slices.Contains(doorRules, doc.Rule)
}

// asks are the operations that change nothing although they are posted: questions,
// of which some are noted in the trail.
var asks = []string{"preview-check", "run-drill", "try-policy", "ask-ship-gate", "make-packet"}

func writes(op operation) bool {
	return op.Method != http.MethodGet && !slices.Contains(asks, op.OperationID)
}

// TestMatrixGolden writes out who is let in to what, in a file that a quality
// manager can read and that a review sees change.
func TestMatrixGolden(t *testing.T) {
	t.Parallel()
	ops, callers, in := cells(t)
	var b strings.Builder
	b.WriteString(`# Who may ask for what: every operation, every role by itself, a key, and nobody. Written by the tests of api.
# yes: the door lets them in; -: 401 or 403. Behind the door the procedure refuses more: who is let in to sign
# signs only where their role is asked for, in time, and where nothing else that they did stands against it.
# A person with several roles is let in wherever one of them is; a key that is let in to begin the evaluation is
# refused behind the door. W: it changes something.
`)
	for _, c := range callers {
		fmt.Fprintf(&b, "#   %-5s %s\n", c.head, c.means)
	}
	row := func(name, mark string, cell func(int, column) string) {
		line := fmt.Sprintf("%-32s %-1s", name, mark)
		for i, c := range callers {
			line += fmt.Sprintf(" %-4s", cell(i, c))
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	b.WriteString("\n")
	row("", "", func(_ int, c column) string { return c.head })
	for _, op := range ops {
		row(op.OperationID, map[bool]string{true: "W"}[writes(op)], func(i int, _ column) string {
			return map[bool]string{true: "yes", false: "-"}[in[op.OperationID][i]]
		})
	}
	if *update {
		if err := os.WriteFile(goldenMatrix, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(goldenMatrix)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), b.String()); d != "" {
		t.Errorf("who is let in has changed: look at what, then go test ./api -run TestMatrixGolden -update\n%s", d)
	}
	forbidden(t, ops, callers, in)
}

// forbidden holds the matrix to what no change of it may allow, whatever the golden
// file says.
func forbidden(t *testing.T, ops []operation, callers []column, in map[string][]bool) {
	t.Helper()
	own := []string{"confirm-session", "sign-out", "sign-in", "set-password"} // of anybody, about themselves
	people := []string{"add-person", "reset-person", "record-departure", "grant-role", "end-role", "delegate-role"}
	for _, op := range ops {
		for i, c := range callers {
			id := op.OperationID
			if !in[id][i] || slices.Contains(own, id) {
				continue
			}
			bad := ""
			switch {
			case c.head == "none":
				bad = "nobody does anything"
			case c.role == disposition.Inspector && writes(op):
				bad = "an inspector reads"
			case c.role == disposition.Administrator && !slices.Contains(append(people, "list-people", "get-session"), id):
				bad = "an administrator administers people and nothing else"
			case c.role != disposition.Administrator && slices.Contains(people, id):
				bad = "people are administered by administrators"
			case c.head == "key" && (strings.HasPrefix(id, "sign") || strings.HasPrefix(id, "propose") || strings.HasPrefix(id, "ask-to")):
				bad = "a key decides nothing"
			case c.role == disposition.Operator && (strings.HasPrefix(id, "sign") || strings.HasPrefix(id, "propose") || strings.HasPrefix(id, "ask-to")):
				bad = "an operator proposes and signs nothing"
			case slices.Contains([]disposition.Role{disposition.Verifier, disposition.Reviewer}, c.role) && (strings.HasPrefix(id, "propose") || id == "evaluate-deviation"):
				bad = "who verifies proposes nothing"
			case c.head == "key" && id == "confirm-cascade":
				bad = "a second person is a person"
			case id == "put-policy" && c.role != "" && c.role != disposition.QualifiedPerson && c.role != disposition.PlantManager:
				bad = "the policy is proposed by a qualified person or the plant manager"
			}
			if bad != "" {
				t.Errorf("%s by %s: %s", id, c.head, bad)
			}
		}
	}
	if len(callers) != len(person.Roles)+2 {
		t.Errorf("%d callers for %d roles", len(callers), len(person.Roles))
	}
}
