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
	folder, problems := exchange.Read(c.Dir)
	for _, w := range folder.Warnings {
		fmt.Fprintln(g.err, "warning:", w)
	}
	problems = append(problems, policyProblems(folder)...)
	if len(problems) > 0 && folder.PolicyText == nil && len(folder.Instruments) == 0 { // no case folder: nothing to look at further
		g.code = exitBad
		return printProblems(g, problems, "nothing was assessed", c.JSON)
	}
	s, err := c.open(g.ctx)
	if err != nil {
		return err
	}
	defer s.close()
	if _, err := s.db.FindPlant(g.ctx, folder.Site.Name); err == nil {
		return usage{fmt.Errorf("the database has a plant %s already: assess asks a question on a database of its own and records nothing in one that is in use", folder.Site.Name)}
	}
	l := &loader{ctx: g.ctx, svc: s.svc, folder: folder, problems: problems, bar: newBar(g.err, folder)}
	err = l.load()
	l.bar.Finish()
	if err != nil {
		return err
	}
	if len(l.problems) > 0 {
		g.code = exitBad
		return printProblems(g, l.problems, "nothing was assessed", c.JSON)
	}
	reports, err := traceAll(g, s.svc, l.scope)
	if err != nil {
		return err
	}
	result := exchange.NewResult(folder.Site.Name, folder.Site.Location, reports)
	if result.InDoubt() {
		g.code = exitDoubt
	}
	if c.JSON {
		return printJSON(g, result)
	}
	return printTable(g.out, result)
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
