package limit

import (
	"fmt"
	"math"
	"strings"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// exposureKind is time allowed in warmth, by bands: 5 h above 10 C, of which 2 h
// above 21.1 C.
var exposureKind = Kind{
	Name: "exposure",
	Parameters: []Parameter{
		{Name: "bands", Form: Rows, Required: true, Temperatures: 2},
		{Name: "max_gap", Form: Duration, Required: true},
	},
	build: buildExposure,
}

func buildExposure(v Values) (Criterion, error) {
	rows := v.Rows["bands"]
	e := exposure{gap: micros(v, "max_gap")}
	for i, r := range rows {
		low, high, at := r.Temperatures[0], r.Temperatures[1], rowAt("bands", i)
		if low.Scale != rows[0].Temperatures[0].Scale || high.Scale != low.Scale {
			return nil, &ParameterError{at, "mixed-units", "all temperatures of bands are on one scale: " + rows[0].Temperatures[0].Scale.String()}
		}
		if high.Value <= low.Value {
			return nil, &ParameterError{at, "not-ascending", "a band goes from its lower to its higher temperature"}
		}
		if r.Time == 0 {
			return nil, &ParameterError{at, "out-of-range", "the time in a band must be more than 0"}
		}
		if i > 0 {
			below := rows[i-1]
			switch {
			case low.Value < below.Temperatures[1].Value:
				return nil, &ParameterError{at, "not-ascending", "bands ascend and do not overlap: " + low.String() + " lies below " + below.Temperatures[1].String()}
			case r.Time > below.Time:
				return nil, &ParameterError{at, "not-descending", "a warmer band never allows a longer time: " + written(r.Time) + " comes after " + written(below.Time)}
			}
		}
		e.bands = append(e.bands, band{maximum(low), high, r.Time.Microseconds()})
	}
	return e, nil
}

// band is a temperature and the time product may spend at or above it [µs]. Its
// upper end is only how it is written: what is hotter counts too.
type band struct {
	bound
	high  unit.Temperature
	total int64
}

// exposure is cumulative time at or above the lower end of each band.
//
//	tⱼ = Σ Δtᵢ over the intervals with a reading at or above lowⱼ at either end
//
//	Δtᵢ   time between two readings, or to the known start or end of the lot [µs]
//	lowⱼ  lower end of a band                             [degrees of the scale]
//
// Range:    holds if tⱼ ≤ totalⱼ for every band.
// Assumes:  an interval is in the warmest band that either of its ends is in.
// Source:   design of this engine, bands are nested and not interpolated; the
// rule that times are cumulative and not to be interpolated between bands stands
// in deviation_facts.csv DF-045, DF-046 (FDA Fish Guide, Appendix 4). Read:
// second-hand, through that collection.
// Departs:  upper ends earn no relief: time above the highest band counts in
// every band. Intervals longer than max_gap and those with an unknown end are
// not counted; they leave the limit undecided unless it has already failed.
// Checked:  by hand, exposure_test.go.
type exposure struct {
	bands []band
	gap   int64 // [µs]
}

// Scale is the scale the bands are written in.
func (e exposure) Scale() unit.Scale { return e.bands[0].at.Scale }

// Harm is Hotter: more warmth does more.
func (e exposure) Harm() unit.Rounding { return unit.Hotter }

// spend is the time in each band.
func (e exposure) spend(s series.Series) []warmth {
	out := make([]warmth, len(e.bands))
	for j, b := range e.bands {
		out[j] = warm(s, e.gap, b.at.Value)
	}
	return out
}

// Judge decides by the band that is nearest to its time, or furthest beyond.
func (e exposure) Judge(s series.Series) Outcome {
	in := e.spend(s)
	h := in[0].holes
	var out Outcome
	if h.known > 0 && h.unknown == 0 {
		out.Value = new(e.share(in))
	}
	switch {
	case !e.allows(in):
		out.Decision = Fails
	case !h.any() && (in[0].covered || h.hot < e.bands[0].at.Value):
		// One warm reading with no time around it says nothing of how long the
		// product was there.
		out.Decision = Holds
	}
	return out
}

// allows says whether no band has more time than it allows.
func (e exposure) allows(in []warmth) bool {
	for j, b := range e.bands {
		if in[j].time > b.total {
			return false
		}
	}
	return true
}

// share is the largest share of a band's time that was spent [%].
func (e exposure) share(in []warmth) float64 {
	most := 0.0
	for j, b := range e.bands {
		most = max(most, 100*float64(in[j].time)/float64(b.total))
	}
	return most
}

// Headroom is the largest shift with which the time in every band is allowed.
func (e exposure) Headroom(s series.Series) (unit.CelsiusDiff, bool) { return headroom(e, s) }

func (e exposure) margin(s series.Series) unit.CelsiusDiff {
	w := warm(s, e.gap, e.bands[0].at.Value)
	if w.holes.known == 0 {
		return unit.CelsiusDiff(math.Inf(-1))
	}
	if !w.covered {
		return e.shiftTo(e.bands[0], w.holes.hot)
	}
	least := unit.CelsiusDiff(math.Inf(1))
	for _, b := range e.bands {
		if t, ok := warmest(s, e.gap, b.total); ok {
			least = min(least, e.shiftTo(b, t))
		}
	}
	return least
}

// shiftTo is the shift to hotter that leaves t just below a band.
func (e exposure) shiftTo(b band, t unit.Micro) unit.CelsiusDiff {
	return unit.DiffToKelvin((b.at.Value - t - 1).Degrees(), e.Scale())
}

func (e exposure) gapAfter() int64 { return e.gap }

func (e exposure) measure() Measure {
	return Measure{Name: "largest share of a band's time", Unit: "%", Required: new(100.)}
}

// otherRules are the times in the bands one by one.
func (e exposure) otherRules(s series.Series) []named {
	in := e.spend(s)
	h := in[0].holes
	var out []named
	for j, b := range e.bands {
		n := named{rule: "time " + above(b.at), unit: "s"}
		if h.known > 0 && h.unknown == 0 {
			n.value = new(seconds(in[j].time))
		}
		out = append(out, n)
	}
	return out
}

// tell says how much of each band's time was spent.
func (e exposure) tell(s series.Series) []string {
	in := e.spend(s)
	var out []string
	for j, b := range e.bands {
		out = append(out, fmt.Sprintf("as recorded %s for %s of %s", above(b.at), span(0, in[j].time), span(0, b.total)))
	}
	return out
}

// Temperatures returns the lower ends of the bands.
func (e exposure) Temperatures() []unit.Celsius {
	var out []unit.Celsius
	for _, b := range e.bands {
		out = append(out, b.at.Celsius())
	}
	return out
}

// Span returns the indicated temperatures at which an error can hide a miss: from
// as far below the lowest band as an error reaches to the lower end of the
// highest, above which everything is counted anyway.
func (e exposure) Span() (lo, hi unit.Celsius) {
	return e.bands[0].at.Celsius() - nearBy, e.bands[len(e.bands)-1].at.Celsius()
}

// String returns "at most 5h from 10 C to 21.1 C, and 2h from 21.1 C to 100 C".
func (e exposure) String() string {
	text := "at most "
	for j, b := range e.bands {
		if j > 0 {
			text += ", and "
		}
		text += written(time.Duration(b.total)*time.Microsecond) + " " + e.begins(j) + " to " + b.high.String()
	}
	return text
}

// begins is above as the text of a limit says it: "from 10 C", "above 10 C".
func (e exposure) begins(j int) string {
	text, exact := strings.CutPrefix(above(e.bands[j].at), "at or above ")
	if exact {
		return "from " + text
	}
	return text
}

// above says where a band begins: a band that begins a millionth above a round
// figure begins above that figure.
func above(t unit.Temperature) string {
	if below := (unit.Temperature{Value: t.Value - 1, Scale: t.Scale}); below.Value%1000 == 0 {
		return "above " + below.String()
	}
	return "at or above " + t.String()
}
