package main

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"time"

	"lastgood/api"
	"lastgood/api/exchange"
	"lastgood/workflow/key"
	"lastgood/workflow/reading"
)

// inFolder loads a case folder into a database of its own and asks there, through
// the same API, in this process.
func (c *drillCmd) inFolder(g *globals, fact api.DrillFact) error {
	const so = "no drill was run"
	folder, problems := exchange.Read(c.What)
	for _, w := range folder.Warnings {
		fmt.Fprintln(g.err, "warning:", w)
	}
	if problems = append(problems, policyProblems(folder)...); len(problems) > 0 {
		g.code = exitBad
		return printProblems(g, problems, so, c.JSON)
	}
	s, err := c.open(g.ctx)
	if err != nil {
		return err
	}
	defer s.close()
	if _, err := s.db.FindPlant(g.ctx, folder.Site.Name); err == nil {
		return usage{fmt.Errorf("the database has a plant %s already: ask its installation for the drill, with --server", folder.Site.Name)}
	}
	l := &loader{ctx: g.ctx, svc: s.svc, folder: folder, bar: newBar(g.err, folder)}
	err = l.load()
	l.bar.Finish()
	if err != nil {
		return err
	}
	if len(l.problems) > 0 {
		g.code = exitBad
		return printProblems(g, l.problems, so, c.JSON)
	}
	fact.Instrument = c.Instrument
	if fact.At == nil {
		end, err := c.endOf(g, s, l)
		if err != nil {
			return err
		}
		fact.At = asMoment(end)
	}
	secret, err := s.svc.AddKey(g.ctx, l.scope, "drill", key.Scopes, s.db.Now().Add(time.Hour))
	if err != nil {
		return err
	}
	inside := &http.Client{Transport: within{api.New(s.svc, api.Options{})}}
	return c.ask(g, &client{base: "http://drill", key: secret, http: inside}, fact)
}

// endOf is a moment after everything that the folder says of the instrument: a
// folder is older than now, and a record that goes on until now would have a gap.
func (c *drillCmd) endOf(g *globals, s *store, l *loader) (end time.Time, err error) {
	for _, k := range l.folder.Checks {
		if k.Value.Instrument == c.Instrument && k.Value.PerformedAt.After(end) {
			end = k.Value.PerformedAt
		}
	}
	var after reading.Place
	const page = 10_000
	for {
		list, err := s.svc.Readings(g.ctx, l.scope, c.Instrument, after, s.db.Now().AddDate(100, 0, 0), page)
		if err != nil {
			return end, usage{err}
		}
		if n := len(list); n > 0 {
			after = list[n-1].Place
			if list[n-1].TakenAt.After(end) {
				end = list[n-1].TakenAt
			}
		}
		if len(list) < page {
			break
		}
	}
	if end.IsZero() {
		return s.db.Now(), nil
	}
	return end.Add(time.Second), nil
}

// within answers requests by a handler of this process.
type within struct{ http.Handler }

// RoundTrip lets the handler answer.
func (w within) RoundTrip(r *http.Request) (*http.Response, error) {
	rec := httptest.NewRecorder()
	w.ServeHTTP(rec, r)
	return rec.Result(), nil
}
