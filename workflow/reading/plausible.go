package reading

import (
	"fmt"
	"math"
	"strconv"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
)

// Limits are the limits that readings may name. Where every single reading must
// hold, the temperatures of the limit say what it is read at; none where a
// record passes through other temperatures on its way, as a cook or a cooling
// does.
type Limits map[string][]unit.Celsius

// nearBy [K] is how far from its limit's temperature a reading is plausible
// whatever else it might mean. A judgement, the same distance as that over
// which an error is looked for beside a limit.
const nearBy = 20

// Implausible is why a reading is not believed as it came.
type Implausible struct{ Rule, Reason string }

// scales are the units that one may have meant by another.
var scales = [...]unit.Scale{unit.CelsiusScale, unit.FahrenheitScale, unit.KelvinScale}

func place(s unit.Scale) int {
	switch s {
	case unit.CelsiusScale:
		return 0
	case unit.FahrenheitScale:
		return 1
	}
	return 2
}

// window is the values from lo to hi, both included.
type window struct{ lo, hi float64 }

var everything = window{math.Inf(-1), math.Inf(1)}

func (w window) has(v float64) bool { return v >= w.lo && v <= w.hi }

// windows is a window on each of scales.
type windows [len(scales)]window

// shows returns what an instrument can show at all.
func shows(in instrument.Stored) (w windows) {
	for i, to := range scales {
		w[i] = everything
		if in.RangeLow != nil {
			w[i].lo = unit.Convert(*in.RangeLow, in.Scale(), to, unit.Colder).Degrees()
		}
		if in.RangeHigh != nil {
			w[i].hi = unit.Convert(*in.RangeHigh, in.Scale(), to, unit.Hotter).Degrees()
		}
	}
	return w
}

// expected is what a limit is read at.
type expected struct {
	name string
	at   []unit.Celsius
	near []windows // one for each of at
}

func (l Limits) expected() map[string]*expected {
	m := make(map[string]*expected, len(l))
	for name, at := range l {
		e := &expected{name: name, at: at}
		for _, t := range at {
			var w windows
			for i, s := range scales {
				w[i] = window{on(t-nearBy, s), on(t+nearBy, s)}
			}
			e.near = append(e.near, w)
		}
		m[name] = e
	}
	return m
}

// on is a temperature on a scale, for comparing only.
func on(t unit.Celsius, s unit.Scale) float64 {
	return unit.Convert(unit.FromComputed(float64(t), unit.Colder), unit.CelsiusScale, s, unit.Colder).Degrees()
}

// usual says whether a value needs no second look: what the limit is read at, or
// a limit that is read at anything.
func (e *expected) usual(v float64, s unit.Scale) bool {
	if !e.known() {
		return true
	}
	for i := range e.near {
		if e.near[i][place(s)].has(v) {
			return true
		}
	}
	return false
}

// off is how far a value is from what the limit is read at [K].
func (e *expected) off(v float64, s unit.Scale) float64 {
	t, least := celsius(v, s), math.Inf(1)
	for _, at := range e.at {
		least = min(least, math.Abs(float64(t-at)))
	}
	return least
}

func celsius(v float64, s unit.Scale) unit.Celsius {
	return unit.Temperature{Value: unit.FromComputed(v, unit.Colder), Scale: s}.Celsius()
}

// judge looks a second time at a reading that is out of its instrument's range
// or far from what its limit is read at. The first is not believed. The second
// is not believed if in another unit the same number would be near, and at most
// half as far off: a unit mix-up is likelier then than such a temperature. What
// was meant only a person can say, so nothing is converted.
func judge(r *Reading, in windows, e *expected) *Implausible {
	possible := in[place(r.Unit)].has(r.Value)
	meant := meant(r, in, e)
	switch {
	case !possible && meant != 0:
		return &Implausible{"outside-range", fmt.Sprintf("%s lies outside what %s can show, %s would not: is the unit right?",
			shown(r, r.Unit), r.Instrument, shown(r, meant))}
	case !possible:
		return &Implausible{"outside-range", fmt.Sprintf("%s lies outside what %s can show", shown(r, r.Unit), r.Instrument)}
	case meant != 0 && e.known():
		return &Implausible{"unit-mix-up", fmt.Sprintf("%s is %.1f °C, far from what %s is read at; %s would be %.1f °C, near it: is the unit right?",
			shown(r, r.Unit), float64(celsius(r.Value, r.Unit)), e.name, shown(r, meant), float64(celsius(r.Value, meant)))}
	}
	return nil
}

// meant returns the unit in which the number would be plausible, 0 if in none.
func meant(r *Reading, in windows, e *expected) unit.Scale {
	for i, s := range scales {
		if s == r.Unit || !in[i].has(r.Value) || math.Abs(r.Value) > unit.MaxDegrees {
			continue
		}
		if !e.known() {
			return s
		}
		if d := e.off(r.Value, s); d <= nearBy && d <= e.off(r.Value, r.Unit)/2 {
			return s
		}
	}
	return 0
}

// known says whether anybody said what the limit is read at.
func (e *expected) known() bool { return e != nil && len(e.at) > 0 }

// shown is the number of a reading in a unit, with the decimals that it was
// written with.
func shown(r *Reading, s unit.Scale) string {
	return strconv.FormatFloat(r.Value, 'f', int(r.Decimals), 64) + " " + s.String()
}
