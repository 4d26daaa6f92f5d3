package workflow

import (
	"context"
	"math"
	"slices"

	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Where product runs without a break, a lot is what was made between two
// clean-outs of the line: no reading vouches for anything beyond one.

// cleanouts are the documented ones of one place, in order of time.
type cleanouts []lot.Break

// run is the time between the two clean-outs that are nearest to a lot [µs];
// without one, without end.
type run struct{ from, to int64 }

// around returns the run in which a lot was made from … until. What was made
// while a line was cleaned out belongs to either side, and to none.
func (c cleanouts) around(from, until int64) run {
	r := run{math.MinInt64, math.MaxInt64}
	for _, b := range c {
		if b.Over <= from {
			r.from = max(r.from, b.Over)
		}
		if b.Begun >= until {
			r.to = min(r.to, b.Begun)
		}
	}
	return r
}

// before says whether a reading of the run stands before the lot.
func (r run) before(readings []int64, from int64) bool {
	i, _ := slices.BinarySearch(readings, from+1)
	return i > 0 && readings[i-1] >= r.from
}

// after says whether a reading of the run stands after the lot.
func (r run) after(readings []int64, until int64) bool {
	i, _ := slices.BinarySearch(readings, until)
	return i < len(readings) && readings[i] <= r.to
}

// closes says whether a reading of the run stands on one side of the lot, and on
// the other the run ends.
func (r run) closes(readings []int64, from, until int64) bool {
	return r.before(readings, from) && r.to != math.MaxInt64 || r.after(readings, until) && r.from != math.MinInt64
}

// loadCleanouts reads the clean-outs between the lots that no reading names and
// the window.
func (e *evidence) loadCleanouts(ctx context.Context, tx *pg.Tx) error {
	if len(e.unread) == 0 {
		return nil
	}
	first, last := e.after, e.until
	for _, lots := range e.unread {
		since, upto := e.madeAround(lots)
		first, last = min(first, since.UnixMicro()), max(last, upto.UnixMicro())
	}
	list, err := lot.Breaks(ctx, tx, bounded(first), bounded(last))
	if err != nil || len(list) == 0 {
		return err
	}
	e.cleaned = map[int32]cleanouts{}
	for _, b := range list {
		e.cleaned[b.Location] = append(e.cleaned[b.Location], b)
	}
	return e.digest.add(list)
}

// apart says whether a lot was made outside the window, and clean-outs lie between
// it and all readings in doubt.
func (e *evidence) apart(from, until int64, lines map[int32]doubtful) bool {
	if len(lines) == 0 || until > e.after && from <= e.until {
		return false
	}
	for place, d := range lines {
		run := e.cleaned[place].around(from, until)
		if len(d) > 0 && d[len(d)-1].at >= run.from && d[0].at <= run.to {
			return false
		}
	}
	return true
}
