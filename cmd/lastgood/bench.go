package main

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"time"
)

// speedCmd measures us against plain PostgreSQL on the same data in one run.
type speedCmd struct {
	Rows   int      `name:"rows" default:"1000000" help:"Readings that are there before anything is measured."`
	Rounds int      `name:"rounds" default:"5" help:"How often each side is measured; medians count."`
	Only   []string `name:"only" enum:"ingest,trace,http,gate" default:"ingest,trace,http,gate" help:"What to measure."`
	PGBin  string   `name:"pg-bin" env:"LASTGOOD_PG_BIN" help:"Folder of the PostgreSQL binaries for the private server."`
}

// contest is one thing that both sides do with the same rows.
type contest struct {
	name, theirs string
	target       float64 // 0: none
	atLeast      bool    // the ratio is of speeds and must reach the target; else of times, and must keep below it
	rows         int
	prepare      func(round int) error // not measured
	us, them     func() error
	spent        [2][]spent // ours and theirs, by round
}

// Run makes the data, measures, and prints what came out.
func (c *speedCmd) Run(g *globals) error {
	if c.Rows < 10_000 || c.Rounds < 1 || c.Rounds > 50 {
		return usage{errors.New("bench needs at least 10000 rows and 1 to 50 rounds")}
	}
	dir, err := os.MkdirTemp("", "lastgood-bench-data-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	if err := os.Chmod(dir, 0o755); err != nil { // the database's account has to enter
		return err
	}
	// A kept database, though it is removed after: a throw-away one does not
	// wait for the disk.
	s, err := kept{dir, database{PGBin: c.PGBin}}.open(g.ctx)
	if err != nil {
		return err
	}
	defer s.close()
	b := &bench{ctx: g.ctx, store: s, plan: newPlan(c.Rows), log: g.err}
	defer b.close()
	if err := b.makeData(); err != nil {
		return err
	}
	var list []*contest
	if slices.Contains(c.Only, "ingest") {
		list = append(list, b.ingestContests()...)
	}
	if slices.Contains(c.Only, "trace") {
		list = append(list, b.traceContests()...)
	}
	if slices.Contains(c.Only, "http") {
		list = append(list, b.httpContests()...)
	}
	if slices.Contains(c.Only, "gate") {
		list = append(list, b.gateContests()...)
	}
	for round := range c.Rounds {
		fmt.Fprintf(g.err, "round %d of %d\n", round+1, c.Rounds)
		for _, k := range list {
			err := b.measure(k, round)
			switch {
			case g.ctx.Err() != nil: // whatever broke, broke because of that
				return g.ctx.Err()
			case err != nil:
				return fmt.Errorf("%s: %w", k.name, err)
			}
		}
	}
	if err := b.sameRows(); err != nil {
		return err
	}
	if err := printContests(g.out, list); err != nil {
		return err
	}
	return b.printGate(g.out)
}

// measure lets both sides do the same once, who goes first changing every round.
func (b *bench) measure(k *contest, round int) error {
	if err := k.prepare(round); err != nil {
		return err
	}
	sides := []func() error{k.us, k.them}
	for i := range sides {
		who := (i + round) % 2
		before, err := b.used()
		if err != nil {
			return err
		}
		start := time.Now()
		if err := sides[who](); err != nil {
			return err
		}
		wall := time.Since(start)
		after, err := b.used()
		if err != nil {
			return err
		}
		k.spent[who] = append(k.spent[who], spent{wall, after - before})
	}
	return nil
}
