package main

import (
	"cmp"
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"lastgood/api/exchange"
	"lastgood/policy/rules"
	"lastgood/workflow"
)

// policyTryCmd assesses a case folder twice: under its own policy, and under
// another.
type policyTryCmd struct {
	File string `arg:"" help:"The policy to try." type:"path"`
	Dir  string `arg:"" help:"The case folder." type:"path"`
	JSON bool   `name:"json" help:"Print JSON."`
	database
}

// triedResult is what the command prints with --json.
type triedResult struct {
	Caution     string      `json:"caution"`
	Assessments int         `json:"assessments"` // under either policy
	Differences []triedItem `json:"differences"`
}

// triedItem is one lot under one limit that is judged or decided otherwise. A
// side is null where that policy puts the lot in no doubt under that limit.
type triedItem struct {
	Instrument string     `json:"instrument"`
	FailedAt   string     `json:"failed_at"`
	Lot        string     `json:"lot"`
	Limit      *string    `json:"limit"`
	What       []string   `json:"what"` // in_doubt, verdict, level, route, signers, deadlines
	Was        *triedSide `json:"was"`
	Would      *triedSide `json:"would"`
}

type triedSide struct {
	Verdict string `json:"verdict"`
	exchange.DecisionResult
}

// Run tries the policy. Both assessments start from the same rows, in a database
// of their own.
func (c *policyTryCmd) Run(g *globals) error {
	const so = "nothing was tried"
	p, err := readPolicy(g, c.File)
	if p == nil || err != nil {
		return err
	}
	q, err := c.ask(g, c.Dir, so, c.JSON)
	if err != nil || q == nil {
		return err
	}
	defer q.close()
	warnQuarantined(g, q.quarantined)
	was, err := q.assess(g)
	if err != nil {
		return err
	}
	other := &question{q.store, &loader{ctx: g.ctx, svc: q.loader.svc, folder: q.folder}}
	q.folder.Site.Name += ", under " + filepath.Base(c.File)
	q.folder.PolicyFile, q.folder.PolicyText = c.File, p.Source
	quiet := &globals{ctx: g.ctx, streams: &streams{g.out, io.Discard}} // what is told of the folder was told
	if err := other.fill(quiet); err != nil {
		return err
	}
	if len(other.problems) > 0 { // readings that name a limit which it does not have
		g.code = exitBad
		return printProblems(g, other.problems, so+", since these rows do not go with "+c.File, c.JSON)
	}
	would, err := other.assess(quiet)
	if err != nil {
		return err
	}
	r := compare(was, would, q.folder.Site.Location)
	if c.JSON {
		return printJSON(g, r)
	}
	return r.print(g, c.File)
}

// assess lets everything happen that follows from the folder.
func (q *question) assess(g *globals) ([]workflow.Report, error) {
	if err := confirmAll(g, q.loader.svc, q.scope); err != nil {
		return nil, err
	}
	return traceAll(g, q.loader.svc, q.scope)
}

// tried is what both policies say of one lot under one limit.
type tried struct {
	key        triedItem
	was, would *workflow.Assessment
}

// compare lists what differs, in order of failure, lot and limit.
func compare(was, would []workflow.Report, zone *time.Location) triedResult {
	both := map[string]*tried{}
	var order []string
	for side, reports := range [][]workflow.Report{was, would} {
		for _, rep := range reports {
			failed := rep.Run.FailedAt.In(zone).Format(time.RFC3339)
			for i := range rep.Run.Assessments {
				a := &rep.Run.Assessments[i]
				id := strings.Join([]string{failed, rep.Run.Instrument, a.Lot, a.Limit}, "\x00")
				if both[id] == nil {
					both[id] = &tried{key: triedItem{Instrument: rep.Run.Instrument, FailedAt: failed, Lot: a.Lot}}
					order = append(order, id)
				}
				if a.Limit != "" {
					both[id].key.Limit = &a.Limit
				}
				if side == 0 {
					both[id].was = a
				} else {
					both[id].would = a
				}
			}
		}
	}
	slices.Sort(order)
	r := triedResult{Caution: exchange.Caution, Assessments: len(order), Differences: []triedItem{}}
	for _, id := range order {
		if item, differs := both[id].item(); differs {
			r.Differences = append(r.Differences, item)
		}
	}
	return r
}

func (t *tried) item() (triedItem, bool) {
	item := t.key
	item.Was, item.Would = sideOf(t.was), sideOf(t.would)
	if t.was == nil || t.would == nil {
		item.What = []string{"in_doubt"}
		return item, true
	}
	if t.was.Result.Verdict != t.would.Result.Verdict {
		item.What = append(item.What, "verdict")
	}
	item.What = append(item.What, rules.Differences(t.was.Outcome(), t.would.Outcome())...)
	return item, len(item.What) > 0
}

func sideOf(a *workflow.Assessment) *triedSide {
	if a == nil {
		return nil
	}
	return &triedSide{string(a.Result.Verdict), exchange.NewDecision(a.Outcome())}
}

// print prints the differences as a table.
func (r triedResult) print(g *globals, file string) error {
	p := &printer{w: g.out}
	switch {
	case r.Assessments == 0:
		p.line("Nothing is in doubt under either policy.")
	case len(r.Differences) == 0:
		p.line("%s would decide the same of every lot: %s.", filepath.Base(file), counted(r.Assessments, "assessment"))
	default:
		p.line("%s would decide otherwise in %d of %s. Each column says what it is now, then what it would be.\n",
			filepath.Base(file), len(r.Differences), counted(r.Assessments, "assessment"))
		var rows [][]string
		for _, d := range r.Differences {
			rows = append(rows, d.row())
		}
		p.table("instrument|failed|lot|limit|verdict|level|route|signed by|within", rows)
	}
	p.line("\n%s", r.Caution)
	return p.err
}

func (t triedItem) row() []string {
	name := "(no limit)"
	if t.Limit != nil {
		name = *t.Limit
	}
	row := []string{t.Instrument, short(t.FailedAt), t.Lot, name}
	was, would := t.Was.cells(), t.Would.cells()
	for i := range was {
		switch {
		case was[i] != would[i]:
			row = append(row, was[i]+" → "+would[i])
		case i == signedBy && slices.Contains(t.What, "signers"):
			row = append(row, was[i]+" (other meanings)")
		default:
			row = append(row, was[i])
		}
	}
	return row
}

// signedBy is the column of those who sign.
const signedBy = 3

// cells are a side's words: verdict, level, route, who signs, by when.
func (s *triedSide) cells() [5]string {
	if s == nil {
		return [5]string{"not in doubt", "–", "–", "–", "–"}
	}
	var sign, within []string
	for _, w := range s.Signatures {
		sign = append(sign, words(w.Role))
	}
	for _, d := range s.Deadlines {
		within = append(within, fmt.Sprintf("%g h: %s", d.WithinHours, d.What))
	}
	return [5]string{strings.ToUpper(s.Verdict), fmt.Sprint(s.Level), words(s.Route), strings.Join(sign, ", "), cmp.Or(strings.Join(within, "; "), "–")}
}

func words(code string) string { return strings.ReplaceAll(code, "_", " ") }
