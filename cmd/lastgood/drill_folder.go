package main

import (
	"net/http"
	"net/http/httptest"
	"time"

	"lastgood/api"
	"lastgood/workflow/key"
	"lastgood/workflow/reading"
)

// inFolder loads a case folder into a database of its own and asks there, through
// the same API, in this process.
func (c *drillCmd) inFolder(g *globals, fact api.DrillFact) error {
	q, err := c.database.ask(g, c.What, "no drill was run", c.JSON)
	if err != nil || q == nil {
		return err
	}
	defer q.close()
	if err := confirmAll(g, q.loader.svc, q.scope); err != nil {
		return err
	}
	fact.Instrument = c.Instrument
	if fact.At == nil {
		end, err := c.endOf(g, q)
		if err != nil {
			return err
		}
		fact.At = asMoment(end)
	}
	secret, err := q.loader.svc.AddKey(g.ctx, q.scope, "drill", key.Scopes, q.db.Now().Add(time.Hour))
	if err != nil {
		return err
	}
	inside := &http.Client{Transport: within{api.New(q.loader.svc, api.Options{})}}
	return c.ask(g, &client{base: "http://drill", key: secret, http: inside}, fact)
}

// endOf is a moment after everything that the folder says of the instrument: a
// folder is older than now, and a record that goes on until now would have a gap.
func (c *drillCmd) endOf(g *globals, q *question) (end time.Time, err error) {
	for _, k := range q.folder.Checks {
		if k.Value.Instrument == c.Instrument && k.Value.PerformedAt.After(end) {
			end = k.Value.PerformedAt
		}
	}
	var after reading.Place
	const page = 10_000
	for {
		list, err := q.loader.svc.Readings(g.ctx, q.scope, c.Instrument, after, q.db.Now().AddDate(100, 0, 0), page)
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
		return q.db.Now(), nil
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
