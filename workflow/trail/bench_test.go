package trail_test

import (
	"context"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"lastgood/workflow/actor"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
	"lastgood/workflow/trail"
)

// BenchmarkCommand is what a small command costs with its entry in the trail and
// without, each in a transaction of its own that is flushed to disk, by one writer
// and by 32, each of which writes to a stream of its own. "log" is with a
// sequencer at work beside them, as a server has it.
func BenchmarkCommand(b *testing.B) {
	for _, writers := range []int{1, 32} {
		for _, with := range []string{"plain", "trail", "trail+log"} {
			b.Run(fmt.Sprintf("%s/%d", with, writers), func(b *testing.B) { benchCommands(b, writers, with) })
		}
	}
}

func benchCommands(b *testing.B, writers int, with string) {
	ctx := context.Background()
	db, err := pg.Open(ctx, pgtest.DB(b).App, time.Now)
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	id, err := db.CreatePlant(ctx, "Alder Hill", "UTC", nil)
	if err != nil {
		b.Fatal(err)
	}
	sc := pg.Scope{Plant: id, By: actor.Actor{ID: "qa-1", Kind: actor.Person}}
	command := func(writer int, n int64) error {
		return db.InTx(ctx, sc, func(tx *pg.Tx) error {
			const add = `insert into idempotency (plant_id, actor, key, request_digest, status, body, recorded_at) values ($1, $2, $3, '', 201, '{}', $4)`
			if _, err := tx.ExecContext(ctx, add, tx.Plant, tx.By.ID, fmt.Sprint(n), tx.Now); err != nil || with == "plain" {
				return err
			}
			return trail.Append(ctx, tx, trail.Entry{Stream: fmt.Sprint("deviation/", writer), Action: "counted", Subject: fmt.Sprint(n), Reason: "a reason of a usual length"})
		})
	}
	done := make(chan struct{})
	var beside, all sync.WaitGroup
	if with == "trail+log" {
		beside.Go(func() {
			for {
				select {
				case <-done:
					return
				case <-time.After(200 * time.Millisecond): // more often than a server does
				}
				if err := db.InTx(ctx, sc, func(tx *pg.Tx) error { _, err := trail.Sequence(ctx, tx); return err }); err != nil {
					b.Error(err)
				}
			}
		})
	}
	var next atomic.Int64
	b.ResetTimer()
	for w := range writers {
		all.Go(func() {
			for n := next.Add(1); n <= int64(b.N); n = next.Add(1) {
				if err := command(w, n); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	all.Wait()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "commands/s")
	close(done)
	beside.Wait()
}
