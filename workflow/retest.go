package workflow

import (
	"context"

	"lastgood/policy/sampling"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// outcomesOf returns what the re-tests of a deviation say, by portion.
func outcomesOf(ctx context.Context, tx *pg.Tx, id DeviationID) (map[lot.PortionID][]sampling.Outcome, error) {
	return nil, nil
}

// testsPending counts the portions of which a re-test has not decided yet.
func (c *docket) testsPending() (n int) {
	for _, p := range c.portions {
		if len(c.tests[p.ID]) > 0 && !c.testsDecided(p) {
			n++
		}
	}
	return n
}

// testsDecided says whether every re-test of a portion, if there is any, has decided.
func (c *docket) testsDecided(p lot.Portion) bool {
	for _, o := range c.tests[p.ID] {
		if o.Decision != sampling.Accept && o.Decision != sampling.Reject {
			return false
		}
	}
	return len(c.tests[p.ID]) > 0
}
