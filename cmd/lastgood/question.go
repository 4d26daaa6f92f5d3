package main

import (
	"fmt"

	"lastgood/api/exchange"
)

// question is a case folder in a database of its own, to be asked something. It
// records nothing in a database that is in use.
type question struct {
	*store
	*loader
}

// ask reads and loads a folder. Everything is validated first: with any bad row
// it says so, and that so, and there is no question; err is nil then.
func (c *database) ask(g *globals, dir, so string, asJSON bool) (*question, error) {
	folder, problems := exchange.Read(dir)
	for _, w := range folder.Warnings {
		fmt.Fprintln(g.err, "warning:", w)
	}
	problems = append(problems, policyProblems(folder)...)
	if len(problems) > 0 && folder.PolicyText == nil && len(folder.Instruments) == 0 { // no case folder: nothing to look at further
		g.code = exitBad
		return nil, printProblems(g, problems, so, asJSON)
	}
	s, err := c.open(g.ctx)
	if err != nil {
		return nil, err
	}
	q := &question{s, &loader{ctx: g.ctx, svc: s.svc, folder: folder, problems: problems}}
	if err := q.fill(g); err != nil {
		s.close()
		return nil, err
	}
	if len(q.problems) > 0 {
		s.close()
		g.code = exitBad
		return nil, printProblems(g, q.problems, so, asJSON)
	}
	return q, nil
}

func (q *question) fill(g *globals) error {
	switch _, there, err := q.db.PlantNamed(g.ctx, q.folder.Site.Name); {
	case err != nil:
		return err
	case there:
		return usage{fmt.Errorf("the database has a plant %s already: a folder is asked in a database of its own, and nothing is recorded in one that is in use", q.folder.Site.Name)}
	}
	q.bar = newBar(g.err, q.folder)
	err := q.load()
	q.bar.Finish()
	return err
}
