package main

import (
	"context"
	"fmt"
	"time"

	"lastgood/workflow"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// ingestContests: a slab through the engine, chunk by chunk, against COPY by the
// server itself from files that are sorted already.
func (b *bench) ingestContests() []*contest {
	return []*contest{
		b.ingestContest("ingest, write path", reading.MaxChunk, false, b.writeSlab),
		b.ingestContest("ingest, whole command", reading.MaxChunk, true, b.takeSlab),
		b.ingestContest("ingest, whole command", slabLength*b.plan.sender, true, b.takeSlab),
	}
}

// ingestContest: perFile rows go into each file of theirs. Readings that name
// lots make us keep when each instrument vouched for each lot.
func (b *bench) ingestContest(name string, perFile int, lots bool, us func(string, []reading.Chunk) error) *contest {
	var chunks []reading.Chunk
	var files []string
	batch := ""
	k := &contest{name: name, theirs: fmt.Sprintf("COPY, %d sorted rows at once", min(perFile, slabLength*b.plan.sender)),
		target: 0.9, atLeast: true, rows: slabLength * b.plan.sender}
	k.prepare = func(int) error {
		list := b.plan.slab(b.slabs, lots)
		batch = fmt.Sprintf("slab %d", b.slabs)
		b.slabs++
		chunks, files = chunksOf(batch, list), nil
		if err := b.internLots(list); err != nil {
			return err
		}
		for from := 0; from < len(list); from += perFile {
			file, err := b.plainFile(fmt.Sprint(len(files)), list[from:min(from+perFile, len(list))], true)
			if err != nil {
				return err
			}
			files = append(files, file)
		}
		return nil
	}
	k.us = func() error { return us(batch, chunks) }
	k.them = func() error { return b.copyFiles(files) }
	return k
}

// internLots makes the lots known, so that both sides can have their numbers.
func (b *bench) internLots(list []reading.Reading) error {
	seen := map[string]bool{}
	var lots []lot.Lot
	for _, r := range list {
		if r.Lot != "" && !seen[r.Lot] {
			seen[r.Lot] = true
			lots = append(lots, lot.Lot{Code: r.Lot})
		}
	}
	if len(lots) == 0 {
		return nil
	}
	_, err := b.store.svc.AddLots(b.ctx, b.scope, lots)
	return err
}

func (b *bench) takeSlab(batch string, chunks []reading.Chunk) error { return b.take(batch, chunks) }

// writeSlab is the path without the command around it: names to numbers, sort,
// COPY. No answer is kept, no trail, no look at open deviations.
func (b *bench) writeSlab(_ string, chunks []reading.Chunk) error {
	limits := reading.Limits{"cook": nil}
	for _, c := range chunks {
		err := b.store.db.InTx(b.ctx, b.scope, func(tx *pg.Tx) error {
			_, err := reading.Ingest(b.ctx, tx, c, limits)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// copyFiles lets the server read the files into the month's own partition, as we
// write into it.
func (b *bench) copyFiles(files []string) error {
	partition := plainTable + "_" + firstSlab.Format("200601")
	for _, f := range files {
		if _, err := b.root.ExecContext(b.ctx, "copy "+partition+" ("+plainColumns+") from '"+f+"'"); err != nil {
			return err
		}
	}
	return nil
}

// traceContests: the evidence and the verdicts on every lot, and the same with
// the run stored, against psql that only fetches the rows.
func (b *bench) traceContests() []*contest {
	preview := b.store.svc.Preview
	return []*contest{
		b.traceContest("trace and judge, at_least", cooker, 1, preview),
		b.traceContest("trace and judge, lethality", heater, 1, preview),
		b.traceContest("whole trace command", cooker, 0, b.store.svc.Trace),
	}
}

func (b *bench) traceContest(name, code string, target float64, us func(context.Context, pg.Scope, workflow.DeviationID) (workflow.Run, error)) *contest {
	k := &contest{name: name, theirs: `psql \copy to /dev/null`, target: target, rows: b.plan.past[0].minutes}
	query := ""
	k.prepare = func(int) error {
		var id instrument.ID
		const find = `select instrument_id from instrument where plant_id = $1 and code = $2`
		if err := b.root.QueryRowContext(b.ctx, find, b.scope.Plant, code).Scan(&id); err != nil {
			return err
		}
		query = fmt.Sprintf(`\copy (select taken_at, value, lot_id, context_id from reading where plant_id = %d and instrument_id = %d`+
			` and taken_at > '%s' and taken_at <= '%s' order by taken_at) to '/dev/null'`, b.scope.Plant, id,
			firstDay.AddDate(0, 0, -1).Format(time.DateOnly), lastDay.AddDate(0, 0, 1).Format(time.DateOnly))
		return nil
	}
	k.us = func() error {
		_, err := us(b.ctx, b.scope, b.failed[code])
		return err
	}
	k.them = func() error { return b.psql.run(query) }
	return k
}
