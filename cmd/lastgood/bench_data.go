package main

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"fmt"
	"io"
	"net/http"
	"os"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// bench is the run: our engine and plain PostgreSQL on one server.
type bench struct {
	ctx   context.Context
	store *store
	plan  plan
	log   io.Writer

	scope      pg.Scope
	root       *sql.DB // of the superuser
	postmaster int
	psql       *psql
	dir        string // files that the server reads
	slabs      int    // sent so far
	failed     map[string]workflow.DeviationID
	web        *http.Server
	client     *client              // of our own interface
	gate       [2][][]time.Duration // how long answers took by round, ours and the plain statement's
}

// close leaves nothing behind.
func (b *bench) close() {
	if b.web != nil {
		b.web.Close()
	}
	b.psql.close()
	if b.root != nil {
		b.root.Close()
	}
	if b.dir != "" {
		os.RemoveAll(b.dir)
	}
}

// makeData loads the past, lets two instruments fail, and gives plain
// PostgreSQL the same rows.
func (b *bench) makeData() error {
	for _, step := range []struct {
		say string
		do  func() error
	}{
		{"a plant and its instruments", b.makePlant}, {"readings", b.loadPast}, {"checks", b.failChecks},
		{"the same for plain PostgreSQL", b.makePlain}, {"the interface", b.serveHTTP},
	} {
		fmt.Fprintln(b.log, "making", step.say)
		if err := step.do(); err != nil {
			return fmt.Errorf("%s: %w", step.say, err)
		}
	}
	return nil
}

func (b *bench) makePlant() error {
	id, err := b.store.svc.Plant(b.ctx, "benchmark", "UTC", nil)
	if err != nil {
		return err
	}
	b.scope = pg.Scope{Plant: id, By: operator, Cause: "bench"}
	if _, err := b.store.svc.PutPolicy(b.ctx, b.scope, []byte(benchPolicy)); err != nil {
		return err
	}
	since := firstDay.AddDate(0, 0, -1)
	var list []instrument.Instrument
	add := func(code string) {
		list = append(list, instrument.Instrument{Code: code, Kind: "thermocouple", Unit: unit.CelsiusScale,
			Tolerance: unit.PerDegree, InServiceFrom: &since})
	}
	for _, s := range b.plan.past {
		add(s.code)
	}
	for i := range b.plan.sender {
		add(senderCode(i))
	}
	_, err = b.store.svc.AddInstruments(b.ctx, b.scope, list)
	return err
}

// loadPast takes the past in, instrument by instrument, as a closed month lies.
func (b *bench) loadPast() error {
	for _, s := range b.plan.past {
		var list []reading.Reading
		for r := range s.each {
			list = append(list, r)
		}
		if err := b.take(s.code, chunksOf(s.code, list)); err != nil {
			return err
		}
	}
	return nil
}

// take sends chunks, one command each.
func (b *bench) take(name string, chunks []reading.Chunk) error {
	for _, c := range chunks {
		if _, err := b.store.svc.TakeReadings(b.ctx, b.scope, c); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	return nil
}

// chunksOf cuts a batch into chunks. Their digests only have to differ.
func chunksOf(batch string, list []reading.Reading) (out []reading.Chunk) {
	for len(list) > 0 {
		n := min(len(list), reading.MaxChunk)
		digest := sha256.Sum256(fmt.Appendf(nil, "%s %d", batch, len(out)))
		out = append(out, reading.Chunk{BatchKey: batch, Number: len(out), Digest: digest[:], Readings: list[:n]})
		list = list[n:]
	}
	return out
}

// failChecks lets the instruments be right on the first day, and 2 °C too high
// on the last.
func (b *bench) failChecks() error {
	var h workflow.Happenings
	for _, code := range []string{cooker, heater} {
		h.Checks = append(h.Checks, comparison(code, firstDay.Add(-time.Hour), 0), comparison(code, lastDay.Add(time.Hour), 2))
	}
	opened, err := b.store.svc.Record(b.ctx, b.scope, h)
	if err != nil {
		return err
	}
	b.failed = map[string]workflow.DeviationID{}
	for _, d := range opened {
		run, err := b.store.svc.Trace(b.ctx, b.scope, d.ID)
		if err != nil {
			return err
		}
		b.failed[run.Instrument] = d.ID
		fmt.Fprintf(b.log, "  %s: %d readings in doubt, %d lots assessed\n", run.Instrument, run.Readings, len(run.Assessments))
	}
	if len(b.failed) != 2 {
		return fmt.Errorf("%d deviations were opened, not 2", len(b.failed))
	}
	return nil
}

func comparison(code string, at time.Time, found int64) instrument.Check {
	c := instrument.Check{Instrument: code, PerformedAt: at, PerformedBy: "technician", VerifiedBy: "verifier"}
	for _, t := range []int64{0, 70, 90} {
		nominal, shown := unit.Micro(t)*unit.PerDegree, unit.Micro(t+found)*unit.PerDegree
		c.Points = append(c.Points, instrument.CheckPoint{Kind: instrument.Comparison, Unit: unit.CelsiusScale,
			ReferenceReading: &nominal, ReferenceUncertainty: new(unit.Micro(unit.PerDegree / 5)), Found: &shown})
	}
	return c
}
