package limit

import (
	"math"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// atMostKind is the maximum that no reading may exceed, 5 C in a cold store. A
// policy may allow some time above it in all, for doors and defrosting.
var atMostKind = Kind{
	Name: "at_most",
	Parameters: []Parameter{
		{Name: "temperature", Form: Temperature, Required: true},
		{Name: "max_gap", Form: Duration},
		{Name: "allow.above", Form: Temperature},
		{Name: "allow.total", Form: Duration},
	},
	build: buildAtMost,
}

func buildAtMost(v Values) (Criterion, error) {
	e := every{maximum(v.Temperature["temperature"]), micros(v, "max_gap")}
	above, hasAbove := v.Temperature["allow.above"]
	_, hasTotal := v.Duration["allow.total"]
	switch {
	case !hasAbove && !hasTotal:
		return e, nil
	case !hasAbove:
		return nil, &ParameterError{"allow.above", "missing-parameter", "allow needs above, the temperature of the limit"}
	case !hasTotal:
		return nil, &ParameterError{"allow.total", "missing-parameter", "allow needs total, the time that product may be above the limit"}
	case e.gap == 0:
		return nil, &ParameterError{"max_gap", "missing-parameter", "allow counts time, so the limit needs max_gap"}
	case above.On(e.Scale(), unit.Colder) != e.at || above.On(e.Scale(), unit.Hotter) != e.at:
		return nil, &ParameterError{"allow.above", "not-supported", "allow.above must be the limit's own temperature, " + e.at.String()}
	}
	return allowed{e, micros(v, "allow.total")}, nil
}

// allowed is a maximum that product may exceed for some time in all.
//
//	t = Σ Δtᵢ over the intervals with a reading above the limit at either end
//
//	Δtᵢ   time between two readings, or to the known start or end of the lot [µs]
//
// Range:    holds if t ≤ total; a reading at the limit is not above it.
// Assumes:  an interval is above the limit as a whole if either of its ends is.
// Source:   design of this engine; the conservative reading of a sampled record.
// Departs:  intervals longer than max_gap and those with an unknown end are not
// counted; they leave the limit undecided unless it has already failed.
// Checked:  by hand, kinds_test.go.
type allowed struct {
	every
	total int64 // [µs]
}

// Judge decides by the time above the limit.
func (a allowed) Judge(s series.Series) Outcome {
	w := a.above(s)
	var out Outcome
	if w.holes.known > 0 && w.holes.unknown == 0 {
		out.Value = new(seconds(w.time))
	}
	switch {
	case w.time > a.total:
		out.Decision = Fails
	case !w.holes.any() && (w.covered || a.least(w.holes) >= 0):
		// One reading above the limit with no time around it says nothing of
		// how long the product was there.
		out.Decision = Holds
	}
	return out
}

// above is the time above the limit itself.
func (a allowed) above(s series.Series) warmth { return warm(s, a.gap, a.at.Value+1) }

// Headroom is the largest shift with which the time above is still allowed.
func (a allowed) Headroom(s series.Series) (unit.CelsiusDiff, bool) { return headroom(a, s) }

func (a allowed) margin(s series.Series) unit.CelsiusDiff {
	w := a.above(s)
	if w.holes.known == 0 {
		return unit.CelsiusDiff(math.Inf(-1))
	}
	if !w.covered {
		return a.kelvin(a.least(w.holes))
	}
	t, ok := warmest(s, a.gap, a.total)
	if !ok {
		return unit.CelsiusDiff(math.Inf(1))
	}
	return a.kelvin(a.side(t))
}

func (a allowed) measure() Measure {
	return Measure{Name: "time above " + a.at.String(), Unit: "s", Required: new(seconds(a.total))}
}

// String returns "at most 5 C, but for 30m in all".
func (a allowed) String() string {
	return a.bound.String() + ", but for " + written(time.Duration(a.total)*time.Microsecond) + " in all"
}

// seconds returns microseconds as seconds.
func seconds(us int64) float64 { return float64(us) / 1e6 }
