package main

import (
	"encoding/json"
	"fmt"
	"slices"

	"lastgood/api/exchange"
	"lastgood/workflow"
	"lastgood/workflow/actor"
	"lastgood/workflow/pg"
)

// assessCmd runs every failed check of a case folder through the engine.
type assessCmd struct {
	Dir  string `arg:"" help:"The case folder." type:"path"`
	JSON bool   `name:"json" help:"Print JSON."`
	database
}

// Run assesses the folder. Everything is validated first: any bad row, and there
// are no verdicts.
func (c *assessCmd) Run(g *globals) error {
	q, err := c.ask(g, c.Dir, "nothing was assessed", c.JSON)
	if err != nil || q == nil {
		return err
	}
	defer q.close()
	warnQuarantined(g, q.quarantined)
	if err := confirmAll(g, q.loader.svc, q.scope); err != nil {
		return err
	}
	reports, err := traceAll(g, q.loader.svc, q.scope)
	if err != nil {
		return err
	}
	result := exchange.NewResult(q.folder.Site.Name, q.folder.Site.Location, reports)
	if result.InDoubt() {
		g.code = exitDoubt
	}
	if c.JSON {
		return printJSON(g, result)
	}
	return printTable(g.out, result)
}

// mostWarned is how many readings in quarantine are named: more are one mistake.
const mostWarned = 20

// warnQuarantined names readings that are stored, but not believed.
func warnQuarantined(g *globals, list []exchange.Problem) {
	slices.SortStableFunc(list, compareProblems)
	for i := range list[:min(len(list), mostWarned)] {
		fmt.Fprintln(g.err, "warning:", list[i].Error())
	}
	if n := len(list); n > 0 {
		fmt.Fprintf(g.err, "warning: %d readings are in quarantine: each counts as a gap until a person accepts it as it is\n", n)
	}
}

// traceAll traces every deviation and reports on it, in order of failure.
func traceAll(g *globals, svc *workflow.Service, sc pg.Scope) ([]workflow.Report, error) {
	list, err := svc.Deviations(g.ctx, sc)
	if err != nil {
		return nil, err
	}
	var out []workflow.Report
	for _, d := range list {
		if _, err := svc.Trace(g.ctx, sc, d.ID); err != nil {
			return nil, err
		}
		r, err := svc.Report(g.ctx, sc, d.ID)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, nil
}

// confirmAll lets everything happen that hangs on references that fell. Over an
// installation a second person does that, who has seen what it is; here nothing is
// recorded, and the question is what would come of it.
func confirmAll(g *globals, svc *workflow.Service, sc pg.Scope) error {
	sc.By, sc.Cause = whatIf, "assess"
	for {
		list, err := svc.Cascades(g.ctx, sc, workflow.CascadePending, 0, 1)
		if err != nil || len(list) == 0 {
			return err
		}
		c, err := svc.ConfirmCascade(g.ctx, sc, list[0].ID, list[0].Digest)
		if err != nil {
			return err
		}
		tree, err := c.Tree()
		if err != nil {
			return err
		}
		fmt.Fprintf(g.err, "warning: %s fell: cascade of %d checks, %d instruments and %d lots confirmed automatically: assess is a what-if\n",
			c.Reference, tree.Checks, tree.Instruments, tree.Lots)
	}
}

// whatIf is who confirms what assess supposes.
var whatIf = actor.Actor{ID: "what-if", Kind: actor.System}

// operator is who the trail says ran the command.
var operator = actor.Actor{ID: "command line", Kind: actor.Person}

func printJSON(g *globals, v any) error {
	e := json.NewEncoder(g.out)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// printProblems prints every bad row, in order of file and line, and what that
// led to.
func printProblems(g *globals, problems []exchange.Problem, so string, asJSON bool) error {
	slices.SortStableFunc(problems, compareProblems)
	for i := range problems {
		fmt.Fprintln(g.err, problems[i].Error())
	}
	fmt.Fprintf(g.err, "%d problems: %s\n", len(problems), so)
	if asJSON {
		return printJSON(g, map[string]any{"problems": problems})
	}
	return nil
}
