package workflow

import (
	"context"
	"fmt"
	"math"
	"time"

	"lastgood/policy/interval"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// Intervals compares check intervals of an instrument: what one failure would
// put in doubt at each, counted from what it really read, and how likely it is
// to last so long, from its own checks. It suggests and changes nothing.
type Intervals struct {
	Instrument string
	Present    float64 // days
	Stated     bool    // the present interval is the plant's; else it is the mean of what was done
	// From and To are the record that was counted; nil: it never read for a lot.
	From, To  *time.Time
	Readings  int64
	Lots      int
	Unweighed int // of the lots, those whose quantity nobody knows
	History   interval.History
	Report    interval.Report
	Exposures []Exposed // one for each of the report's candidates
}

// Exposed is what one failure would have put in doubt at an interval, counted
// over every moment of the record at which a check could have failed. Counted is
// false where the record is shorter than the interval.
type Exposed struct {
	Counted             bool
	MeanLots, WorstLots float64
	Quantities          []ExposedQuantity // by unit
}

// ExposedQuantity is an amount of product in one unit.
type ExposedQuantity struct {
	Unit        string
	Mean, Worst float64
}

// year bounds the record that is counted: older use says little of today's.
const year = 365 * 24 * time.Hour

// Intervals compares the usual check intervals, and the present one, of an
// instrument. fault.NotFound: there is no such instrument.
func (s *Service) Intervals(ctx context.Context, sc pg.Scope, code string, aim interval.Aim) (Intervals, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (r Intervals, err error) {
		in, err := instrument.ByCode(ctx, tx, code)
		if err != nil {
			return r, err
		}
		r.Instrument = code
		stored, err := instrument.Get(ctx, tx, in.ID)
		if err != nil {
			return r, err
		}
		h, err := instrument.LoadHistory(ctx, tx, stored)
		if err != nil {
			return r, err
		}
		r.History = intervalHistory(in, stored, h)
		r.Present, r.Stated = presentInterval(in, r.History)
		visits, err := r.count(ctx, tx, in.ID)
		if err != nil {
			return r, err
		}
		if r.Report, err = interval.Compare(r.History, r.use(visits), r.Present, interval.Candidates(1), aim); err != nil {
			return r, fmt.Errorf("intervals of %s: %w", code, err)
		}
		for _, c := range r.Report.Candidates {
			r.Exposures = append(r.Exposures, r.exposed(visits, c.Days))
		}
		return r, nil
	})
}

// intervalHistory is the history as intervals are reckoned from it. What is no
// check is left out.
func intervalHistory(in instrument.Registered, stored instrument.Stored, h instrument.History) interval.History {
	out := interval.History{Tolerance: stored.ToleranceDiff().Kelvin()}
	if r := stored.ResolutionDiff(); r != nil {
		out.Resolution = r.Kelvin()
	}
	for _, c := range h.Checks {
		if c.Untrusted != "" {
			continue
		}
		k := interval.Check{At: c.At, Found: c.Found, Left: c.Left, FoundError: worstError(c.Points, metrology.Point.FoundError)}
		if wasAdjusted(&c) {
			k.LeftError = worstError(c.Points, metrology.Point.LeftError)
		}
		if n := len(out.Checks); n > 0 && in.CheckEveryDays != nil {
			k.Due = out.Checks[n-1].At + int64(*in.CheckEveryDays)*(24*time.Hour).Microseconds()
		}
		out.Checks = append(out.Checks, k)
	}
	if in.InServiceFrom != nil && (len(out.Checks) == 0 || in.InServiceFrom.UnixMicro() <= out.Checks[0].At) {
		out.InServiceFrom = in.InServiceFrom.UnixMicro()
	}
	return out
}

// worstError is the largest error over the points of a check, with its sign;
// nil if none was taken.
func worstError(points []metrology.Point, of func(metrology.Point) (unit.Micro, bool)) *unit.CelsiusDiff {
	var worst *unit.CelsiusDiff
	for _, p := range points {
		m, ok := of(p)
		if !ok {
			continue
		}
		k := unit.Diff{Value: m, Scale: p.Reference.Scale}.Kelvin()
		if worst == nil || math.Abs(float64(k)) > math.Abs(float64(*worst)) {
			worst = &k
		}
	}
	return worst
}

// presentInterval is the interval that the plant states, else the mean of what
// was done, else a day.
func presentInterval(in instrument.Registered, h interval.History) (days float64, stated bool) {
	const longest = 3650 // what interval.Compare takes
	if in.CheckEveryDays != nil {
		return min(float64(*in.CheckEveryDays), longest), true
	}
	n := len(h.Checks)
	if n < 2 || h.Checks[n-1].At == h.Checks[0].At {
		return 1, false
	}
	mean := float64(h.Checks[n-1].At-h.Checks[0].At) / microsPerDay / float64(n-1)
	return min(max(math.Round(mean*10)/10, 0.1), longest), false
}

const microsPerDay = 86_400e6

// use is how much hangs on the instrument on a day of the record.
func (r *Intervals) use(visits []visit) interval.Use {
	if r.From == nil {
		return interval.Use{}
	}
	days := max(1, r.To.Sub(*r.From).Hours()/24)
	kg, seen := 0.0, map[int64]bool{}
	for _, v := range visits {
		if !seen[v.Lot] && v.Unit != nil && *v.Unit == "kg" {
			kg += *v.Quantity
		}
		seen[v.Lot] = true
	}
	return interval.Use{ReadingsPerDay: float64(r.Readings) / days, LotsPerDay: float64(r.Lots) / days, KgPerDay: kg / days}
}
