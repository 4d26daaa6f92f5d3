package limit

import (
	"fmt"
	"math"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// dwellTableKind is a table of temperatures and the time that each must be
// held: 130 F for 112 minutes, or 140 F for 12, or 150 F for 70 seconds.
var dwellTableKind = Kind{
	Name: "dwell_table",
	Parameters: []Parameter{
		{Name: "table", Form: Rows, Required: true, Temperatures: 1},
		{Name: "max_gap", Form: Duration, Required: true},
	},
	build: buildDwellTable,
}

func buildDwellTable(v Values) (Criterion, error) {
	table := v.Rows["table"]
	d := dwell{gap: micros(v, "max_gap")}
	for i, r := range table {
		row := dwellRow{minimum(r.Temperatures[0]), r.Time.Microseconds()}
		if i > 0 {
			above, at := d.rows[i-1], rowAt("table", i)
			switch {
			case row.at.Scale != above.at.Scale:
				return nil, &ParameterError{at, "mixed-units", "all temperatures of a table are on one scale: " + above.at.Scale.String()}
			case row.at.Value <= above.at.Value:
				return nil, &ParameterError{at, "not-ascending", "the temperatures of a table ascend: " + row.at.String() + " comes after " + above.at.String()}
			case row.time > above.time:
				return nil, &ParameterError{at, "not-descending", "a higher temperature never needs a longer time: " + written(r.Time) + " comes after " + written(table[i-1].Time)}
			}
		}
		d.rows = append(d.rows, row)
	}
	return d, nil
}

// dwellRow is one row: a minimum and the time it must be held [µs]. 0 is a
// temperature that is enough at once.
type dwellRow struct {
	bound
	time int64
}

// String returns "130 F for 112m".
func (r dwellRow) String() string {
	return r.at.String() + " for " + written(time.Duration(r.time)*time.Microsecond)
}

// dwell is a table of holds of which one is enough.
//
//	share = max over rows of tᵢ/requiredᵢ
//
//	tᵢ         longest run of consecutive readings at or above the row's
//	           temperature, from its first reading to its last   [µs]
//	requiredᵢ  the row's time; a row of 0 s is met by one reading [µs]
//
// Range:    holds if some tᵢ ≥ requiredᵢ. Rows ascend in temperature and do not
// ascend in time.
// Assumes:  between two readings of a run the row's temperature was kept.
// Source:   design of this engine, a dwell table is met if one row's hold is
// met; the tables themselves are of the kind of FSIS Appendix A.
// Departs:  nothing is summed over rows, nothing is read between them (a hold
// between two rows counts as the lower), and below the lowest row nothing counts.
// Checked:  by hand and against hold for every row, dwell_table_test.go.
type dwell struct {
	rows []dwellRow
	gap  int64 // [µs]
}

// Scale is the scale the table is written in.
func (d dwell) Scale() unit.Scale { return d.rows[0].at.Scale }

// Harm is Colder: less heat does less.
func (d dwell) Harm() unit.Rounding { return unit.Colder }

// Judge decides by the row that comes nearest to its time. A dwell that falls
// short may have been made where the record is silent: then it is undecided.
func (d dwell) Judge(s series.Series) Outcome {
	best := d.best(s.Samples)
	if best.met {
		return Outcome{Holds, new(100 * best.share)}
	}
	var out Outcome
	holes := look(s, d.gap)
	if holes.known > 0 {
		out.Value = new(100 * best.share)
	}
	if !holes.any() {
		out.Decision = Fails
	}
	return out
}

// reached is the row that came nearest to its time.
type reached struct {
	row      int // −1: not even the lowest was reached
	from, to int64
	share    float64
	met      bool
}

// run is what a walk over the readings keeps: since when each row's temperature
// has been held without a break. Rows ascend, so that those that are held are
// always the lowest ones, and a reading opens or closes only the rows between
// its own level and the one before.
type run struct {
	rows  []dwellRow
	since []int64
	best  reached
}

// best returns the row that comes nearest to its time.
func (d dwell) best(s []series.Sample) reached {
	r := run{d.rows, make([]int64, len(d.rows)), reached{row: -1}}
	held, last := 0, int64(0) // how many rows are held, and the last reading of them
	for i := range s {
		at, t := s[i].At, s[i].T
		if held > 0 && (t == unit.Unknown || at-last > d.gap) {
			r.close(0, held, last)
			held = 0
		}
		if t == unit.Unknown {
			continue
		}
		n := held
		for n < len(d.rows) && t >= d.rows[n].at.Value {
			r.since[n] = at
			n++
		}
		for n > 0 && t < d.rows[n-1].at.Value {
			n--
		}
		if n < held {
			r.close(n, held, last)
		}
		held, last = n, at
	}
	r.close(0, held, last)
	return r.best
}

// close ends the runs of rows from … to−1 at a reading.
func (r *run) close(from, to int, last int64) {
	for i := from; i < to; i++ {
		row, t := &r.rows[i], last-r.since[i]
		share, met := 1.0, t >= row.time
		if row.time > 0 {
			share = float64(t) / float64(row.time)
		}
		if r.best.row < 0 || share > r.best.share {
			r.best.row, r.best.from, r.best.to, r.best.share = i, r.since[i], last, share
		}
		r.best.met = r.best.met || met
	}
}

// Headroom is the largest shift with which some row is still held long enough.
func (d dwell) Headroom(s series.Series) (unit.CelsiusDiff, bool) { return headroom(d, s) }

// margin is the largest of the rows': of each, the distance that its time is kept
// at. A row above needs no longer time, so what it keeps is no less: rows that
// cannot come to more than the best so far are left out.
func (d dwell) margin(s series.Series) unit.CelsiusDiff {
	best, bound := unit.Micro(math.MinInt64), unit.Micro(math.MaxInt64)
	for i := len(d.rows) - 1; i >= 0; i-- {
		r := d.rows[i]
		if bound != math.MaxInt64 && bound-r.at.Value <= best {
			continue
		}
		side, ok := r.kept(s.Samples, r.time, d.gap)
		if !ok {
			break // and no row below is kept for its longer time
		}
		best, bound = max(best, side), side+r.at.Value
	}
	if best == math.MinInt64 {
		return unit.CelsiusDiff(math.Inf(-1))
	}
	return unit.DiffToKelvin(best.Degrees(), d.Scale())
}

func (d dwell) gapAfter() int64 { return d.gap }

func (d dwell) measure() Measure {
	return Measure{Name: "largest share of a row's time", Unit: "%", Required: new(100.)}
}

func (d dwell) otherRules(series.Series) []named { return nil }

// tell says which row came nearest.
func (d dwell) tell(s series.Series) []string {
	b := d.best(s.Samples)
	if b.row < 0 {
		return []string{"as recorded never at " + d.rows[0].at.String() + ", the lowest row of the table"}
	}
	return []string{fmt.Sprintf("as recorded nearest to the row %s: held for %s, from %s", d.rows[b.row], span(b.from, b.to), clock(b.from))}
}

// Temperatures returns the lowest and the highest row: the dwell is made between
// them.
func (d dwell) Temperatures() []unit.Celsius {
	return []unit.Celsius{d.rows[0].at.Celsius(), d.rows[len(d.rows)-1].at.Celsius()}
}

// Span returns the indicated temperatures at which an error can hide a miss: from
// the lowest row to as far above the highest as an error reaches.
func (d dwell) Span() (lo, hi unit.Celsius) {
	return d.rows[0].at.Celsius(), d.rows[len(d.rows)-1].at.Celsius() + nearBy
}

// String returns "130 F for 112m, or 140 F for 12m".
func (d dwell) String() string {
	if n := len(d.rows); n > 4 {
		return fmt.Sprintf("one row of %d, from %s to %s", n, d.rows[0], d.rows[n-1])
	}
	text := d.rows[0].String()
	for _, r := range d.rows[1:] {
		text += ", or " + r.String()
	}
	return "at least " + text
}
