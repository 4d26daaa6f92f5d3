package main

import (
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"strings"

	"lastgood/api/exchange"
	"lastgood/policy/document"
	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// loader loads a case folder into an empty database and collects everything that
// is wrong with it on the way. What is right is loaded all the same, so that one
// bad row does not make others look bad.
type loader struct {
	ctx      context.Context
	svc      *workflow.Service
	folder   *exchange.Folder
	scope    pg.Scope
	problems []exchange.Problem
	bar      *bar
	policyOK bool
	// quarantined are readings that are not believed: no fault of the folder.
	quarantined []exchange.Problem
}

// policyProblems returns what is wrong with the folder's policy.
func policyProblems(f *exchange.Folder) []exchange.Problem {
	if f.PolicyText == nil {
		return nil // told by exchange already
	}
	var out []exchange.Problem
	_, problems := document.Parse(f.PolicyText)
	for _, p := range problems {
		out = append(out, exchange.Problem{File: f.PolicyFile, Line: p.Line, Column: p.Path, Rule: p.Rule, Detail: p.Detail})
	}
	return out
}

// stopgap stands in for a policy that cannot be read, so that the rest of the
// folder is still looked at. Nothing is assessed with it.
const stopgap = "limits: [{limit: stopgap, kind: at_least, temperature: 0 C}]\n"

func (l *loader) load() error {
	site := l.folder.Site
	if site.Name == "" {
		site.Name, site.TimeZone = "a folder without a site", "UTC"
	}
	id, err := l.svc.Plant(l.ctx, site.Name, site.TimeZone, site.AltitudeM)
	if err != nil {
		return err
	}
	l.scope = pg.Scope{Plant: id, By: operator, Cause: "assess"}
	text := l.folder.PolicyText
	if l.policyOK = text != nil && len(policyProblems(l.folder)) == 0; !l.policyOK {
		text = []byte(stopgap)
	}
	if _, err := l.svc.PutPolicy(l.ctx, l.scope, text); err != nil {
		return err
	}
	for _, step := range []func() error{l.facts, l.readings, l.happenings} {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

func (l *loader) facts() error {
	f := l.folder
	return errors.Join(
		add(l, f.Instruments, l.svc.AddInstruments),
		add(l, f.Certificates, l.svc.AddCertificates),
		add(l, f.ClockOffsets, l.svc.AddClockOffsets),
		add(l, f.Products, l.svc.AddProducts),
		add(l, f.Lots, l.svc.AddLots),
		add(l, f.Mountings, l.svc.AddMountings),
		add(l, f.Places, l.svc.AddPlaces),
		add(l, f.Stays, l.svc.AddStays),
		add(l, f.Cleanouts, l.svc.AddCleanouts),
		l.transformations(),
		add(l, f.Shipments, l.svc.AddShipments),
	)
}

// transformations loads the genealogy. A row that a running installation would put
// into quarantine is a fault of the folder: it says two things at once.
func (l *loader) transformations() error {
	var c workflow.Counts
	kept, err := addGood(l, l.folder.Transformations, func(ctx context.Context, sc pg.Scope, list []lot.Transformation) (_ workflow.Counts, err error) {
		c, err = l.svc.AddTransformations(ctx, sc, list)
		return c, err
	})
	for _, q := range c.Quarantined {
		l.problems = append(l.problems, exchange.Problem{File: kept[q.Index].File, Line: kept[q.Index].Line, Column: q.Field, Rule: q.Rule, Detail: q.Detail})
	}
	return err
}

// add gives rows to a command; if some are wrong, it notes them and gives the
// rest.
func add[T any](l *loader, rows []exchange.Row[T], command func(context.Context, pg.Scope, []T) (workflow.Counts, error)) error {
	_, err := addGood(l, rows, command)
	return err
}

// addGood is add, and returns the rows that were not wrong.
func addGood[T any](l *loader, rows []exchange.Row[T], command func(context.Context, pg.Scope, []T) (workflow.Counts, error)) ([]exchange.Row[T], error) {
	values := make([]T, len(rows))
	for i, r := range rows {
		values[i] = r.Value
	}
	var bad fault.Rows
	_, err := command(l.ctx, l.scope, values)
	if !errors.As(err, &bad) {
		return rows, err
	}
	wrong := map[int]bool{}
	for _, b := range bad {
		l.note(rows[b.Index].File, rows[b.Index].Line, b)
		wrong[b.Index] = true
	}
	var good []exchange.Row[T]
	for i, r := range rows {
		if !wrong[i] {
			good = append(good, r)
		}
	}
	if len(good) == 0 {
		return nil, nil
	}
	return addGood(l, good, command)
}

func (l *loader) note(file string, line int, r fault.Row) {
	l.problems = append(l.problems, exchange.Problem{File: file, Line: line, Column: r.Field, Rule: r.Rule, Detail: r.Detail})
}

// readings streams the readings in, a chunk at a time.
func (l *loader) readings() error {
	var rows []exchange.Row[reading.Reading]
	number := 0
	flush := func() error {
		if len(rows) == 0 {
			return nil
		}
		number++
		var a reading.Answer
		kept, err := addGood(l, rows, func(ctx context.Context, sc pg.Scope, list []reading.Reading) (_ workflow.Counts, err error) {
			digest := sha256.Sum256([]byte(fmt.Sprint(number, len(list))))
			a, err = l.svc.TakeReadings(ctx, sc, reading.Chunk{BatchKey: "readings", Number: number, Digest: digest[:], Readings: list})
			return workflow.Counts{}, err
		})
		for _, q := range a.Quarantined {
			r := kept[q.Index]
			l.quarantined = append(l.quarantined, exchange.Problem{File: r.File, Line: r.Line, Column: "value", Rule: q.Rule, Detail: q.Detail})
		}
		l.bar.Set(l.folder.Progress())
		rows = rows[:0]
		return err
	}
	for row, problem := range l.folder.Readings() {
		if problem != nil {
			l.problems = append(l.problems, *problem)
			continue
		}
		if !l.policyOK {
			row.Value.Limit = "" // no limit is known without a policy
		}
		if rows = append(rows, row); len(rows) == reading.MaxChunk {
			if err := flush(); err != nil {
				return err
			}
		}
	}
	return flush()
}

// happenings records events and checks in one command, so that containment sees
// all of them. Where something is wrong already it only looks: nothing will be
// assessed.
func (l *loader) happenings() error {
	var h workflow.Happenings
	for _, e := range l.folder.Events {
		h.Events = append(h.Events, e.Value)
	}
	for _, c := range l.folder.Checks {
		h.Checks = append(h.Checks, c.Value)
	}
	var err error
	if len(l.problems) > 0 {
		err = l.svc.Review(l.ctx, l.scope, h)
	} else {
		_, err = l.svc.Record(l.ctx, l.scope, h)
	}
	var bad *workflow.HappeningFaults
	if errors.As(err, &bad) {
		l.noteHappenings(bad)
		return nil
	}
	return err
}

func (l *loader) noteHappenings(bad *workflow.HappeningFaults) {
	events, checks := l.folder.Events, l.folder.Checks
	for _, b := range bad.Events {
		l.note(events[b.Index].File, events[b.Index].Line, b)
	}
	for _, b := range bad.Checks {
		line := checks[b.Index].Line
		if b.Part < len(checks[b.Index].PointLines) {
			line = checks[b.Index].PointLines[b.Part]
		}
		l.note(checks[b.Index].File, line, b)
	}
}

func compareProblems(a, b exchange.Problem) int {
	return cmp.Or(strings.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), strings.Compare(a.Column, b.Column))
}
