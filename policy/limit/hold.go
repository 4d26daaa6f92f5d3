package limit

import (
	"math"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// holdKind is a temperature held without a break: 72 C for 15 s, or -20 C for
// 168 h against parasites.
var holdKind = Kind{
	Name: "hold",
	Parameters: []Parameter{
		{Name: "at_least", Form: Temperature},
		{Name: "at_most", Form: Temperature},
		{Name: "for", Form: Duration, Required: true},
		{Name: "max_gap", Form: Duration, Required: true},
	},
	build: buildHold,
}

func buildHold(v Values) (Criterion, error) {
	low, hasLow := v.Temperature["at_least"]
	high, hasHigh := v.Temperature["at_most"]
	switch {
	case hasLow && hasHigh:
		return nil, &ParameterError{"at_most", "too-many-parameters", "a hold has at_least or at_most, not both"}
	case hasLow:
		return hold{minimum(low), micros(v, "for"), micros(v, "max_gap")}, nil
	case hasHigh:
		return hold{maximum(high), micros(v, "for"), micros(v, "max_gap")}, nil
	}
	return nil, &ParameterError{"at_least", "missing-parameter", "a hold needs at_least or at_most, a temperature"}
}

// hold is a bound that product must keep for a continuous time.
//
//	t = max over runs of (time of the last reading − time of the first)
//
// A run is consecutive readings within the bound. A reading beyond it, an
// interval longer than max_gap and a moment of which nothing is known break a
// run; nothing is interpolated.
//
// Range:    holds if t ≥ for.
// Assumes:  between two readings of a run the bound was kept.
// Source:   design of this engine: first to last consecutive qualifying reading.
// Departs:  nothing.
// Checked:  pasteurization.csv rows named in kinds_test.go.
type hold struct {
	bound
	time int64 // [µs]
	gap  int64 // [µs]
}

// Judge decides by the longest run. A hold that falls short may have been made
// where the record is silent: then it is undecided.
func (h hold) Judge(s series.Series) Outcome {
	t := h.longest(s.Samples)
	if t >= h.time {
		return Outcome{Holds, new(seconds(t))}
	}
	var out Outcome
	holes := look(s, h.gap)
	if holes.known > 0 {
		out.Value = new(seconds(t))
	}
	if !holes.any() {
		out.Decision = Fails
	}
	return out
}

// longest returns the longest run [µs] of readings on the right side of the bound.
func (h hold) longest(s []series.Sample) int64 {
	lo, hi := h.at.Value, unit.Micro(math.MaxInt64)
	if h.harm == unit.Hotter {
		lo, hi = unit.Unknown+1, h.at.Value
	}
	var longest, first, last int64
	running := false
	for i := range s {
		r := &s[i]
		if r.T < lo || r.T > hi { // unknown too
			running = false
			continue
		}
		if !running || r.At-last > h.gap {
			first, running = r.At, true
		}
		last = r.At
		longest = max(longest, last-first)
	}
	return longest
}

// Headroom is the largest distance from the bound that some run of the required
// time keeps throughout. It is false where no run of readings is long enough at
// any temperature.
func (h hold) Headroom(s series.Series) (unit.CelsiusDiff, bool) { return headroom(h, s) }

func (h hold) margin(s series.Series) unit.CelsiusDiff {
	best, ok := h.kept(s.Samples, h.time, h.gap)
	if !ok {
		return unit.CelsiusDiff(math.Inf(-1))
	}
	return h.kelvin(best)
}

func (h hold) gapAfter() int64 { return h.gap }

func (h hold) measure() Measure {
	return Measure{Name: "longest time " + h.bound.String(), Unit: "s", Required: new(seconds(h.time))}
}

func (h hold) otherRules(series.Series) []named { return nil }

// String returns "at least 72 C for 15s".
func (h hold) String() string {
	return h.bound.String() + " for " + written(time.Duration(h.time)*time.Microsecond)
}
