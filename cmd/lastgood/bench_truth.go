package main

import (
	"cmp"
	"errors"
	"fmt"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"

	"lastgood/testdata/truth"
)

// benchCmd measures the engine: how fast it is, and how often it is right.
type benchCmd struct {
	Speed speedCmd `cmd:"" default:"withargs" help:"Measure ingest and trace against plain PostgreSQL, in one run."`
	Truth truthCmd `cmd:"" help:"Judge the lots of invented plants of which the truth is known, and count how often the verdict was right."`
}

// truthCmd compares verdicts with the truth.
type truthCmd struct {
	Deviations int    `name:"deviations" default:"300" help:"Thermometers that fail, for each kind of plant."`
	Seed       uint64 `name:"seed" default:"1" help:"Where chance begins; the same seed makes the same plants."`
}

// Run exits with status 1 if the promise of the uncertainty is not kept.
func (c *truthCmd) Run(g *globals) error {
	if c.Deviations < 1 || c.Deviations > 100_000 {
		return usage{errors.New("bench truth needs 1 to 100000 deviations")}
	}
	scores, err := c.scores(g)
	if err != nil {
		return err
	}
	truth.Sort(scores)
	if err := truth.Print(g.out, scores); err != nil {
		return err
	}
	var all truth.Score
	for _, s := range scores {
		all.Add(s)
	}
	if broken := all.Broken(); len(broken) > 0 {
		fmt.Fprintln(g.out, "\nthe promise is broken:", strings.Join(broken, "; "))
		g.code = exitDoubt
		return nil
	}
	fmt.Fprintln(g.out, "\nthe promise is kept")
	return nil
}

// scores runs all kinds of plants on every core.
func (c *truthCmd) scores(g *globals) ([]truth.Score, error) {
	cells := truth.Cells()
	out, errs := make([]truth.Score, len(cells)), make([]error, len(cells))
	var next, done atomic.Int64
	var all sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		all.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(cells); i = int(next.Add(1)) - 1 {
				if errs[i] = g.ctx.Err(); errs[i] == nil {
					out[i], errs[i] = truth.Run(cells[i], c.Deviations, c.Seed)
				}
				if n := done.Add(1); n%10 == 0 {
					fmt.Fprintf(g.err, "%d of %d kinds of plants\n", n, len(cells))
				}
			}
		})
	}
	all.Wait()
	return out, cmp.Or(errs...)
}
