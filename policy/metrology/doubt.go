package metrology

import (
	"fmt"
	"math"

	"lastgood/policy/unit"
)

// beginning and open are the ends of a window that nothing bounds.
const (
	beginning = math.MinInt64
	open      = math.MaxInt64
)

// Doubt is what is known of an instrument's error around a failed check: for
// which readings it is in doubt, and between which bounds it lay.
type Doubt struct {
	FailedAt int64
	// Until is when the doubt ends: the instrument was taken out of use, or
	// clearly passed. It is math.MaxInt64 while the window is open.
	Until int64
	// KnownUntil is the last as-found value that bounds the error after
	// FailedAt. Readings after it and not after Until are unknown.
	KnownUntil int64
	// Reaches are ascending by temperature and together cover all of it.
	Reaches []Reach
	// Event is the first thing that happened in the longest window before the
	// failed check and that may date when it went wrong: it was dropped or moved,
	// or something else that somebody wrote a note on. 0 if there is none. A reach
	// whose own window starts later has nothing to date by it.
	Event int64
	// Notes are what must be said loudly.
	Notes []string

	checked span // the temperatures at which the instrument is being checked
}

// Reach is a range of indicated temperatures with one last good check.
type Reach struct {
	Lo, Hi unit.Celsius // [Lo, Hi)
	// Clear says that the failed check itself clearly passed here: nothing is
	// in doubt at these temperatures.
	Clear bool
	// LastGood is an index into Facts.Checks; −1 if there is none.
	LastGood int
	// After is where the window starts: the last good check, or the going into
	// service, or math.MinInt64.
	After int64
	// Before holds on (After, FailedAt], Later on (FailedAt, Until].
	Before, Later Band

	// trusted is the time up to which readings are not in doubt. It is After
	// only if a check bounds the window there: no reading before the going into
	// service is the better for that.
	trusted int64
}

// Standing says what a reading's error is worth.
type Standing int

// The standings.
const (
	Trusted Standing = iota // not in doubt: taken as recorded, error 0
	Known                   // in doubt, with a bracket
	Unknown                 // in doubt, and nothing can be said of the error
)

// At is the bounds of the error of a reading that showed x at a time.
func (d *Doubt) At(at int64, x unit.Celsius) (Bounds, Standing) {
	r := d.reach(x)
	if r == nil {
		return Bounds{}, Unknown
	}
	if r.Clear || at <= r.trusted || at > d.Until {
		return Bounds{}, Trusted
	}
	band := &r.Before
	if at > d.FailedAt {
		if at > d.KnownUntil {
			return Bounds{}, Unknown
		}
		band = &r.Later
	}
	if b, ok := band.at(x); ok {
		return b, Known
	}
	return Bounds{}, Unknown
}

// reach finds the reach of x; nil if x is not a number.
func (d *Doubt) reach(x unit.Celsius) *Reach {
	for i := range d.Reaches {
		if r := &d.Reaches[i]; x < r.Hi {
			return r
		}
	}
	if n := len(d.Reaches); n > 0 && x >= d.Reaches[n-1].Lo {
		return &d.Reaches[n-1]
	}
	return nil
}

// Reason says in a sentence why the error of a reading is unknown. It is empty
// where At does not say Unknown.
func (d *Doubt) Reason(at int64, x unit.Celsius) string {
	if _, s := d.At(at, x); s != Unknown {
		return ""
	}
	r := d.reach(x)
	if r == nil {
		return "the reading is not a number"
	}
	band, ends := &r.Before, "the last good check and the failed one"
	if at > d.FailedAt {
		band, ends = &r.Later, "the failed check and the next as-found value"
	}
	switch {
	case band.Why != "":
		return band.Why
	case at > d.KnownUntil && at > d.FailedAt:
		return "no as-found value since the reading bounds the error"
	}
	return fmt.Sprintf("%.1f °C lies beyond the points of %s", float64(x), ends)
}

// Window is the longest window over the temperatures at which the instrument is
// being checked: where some check was good, and over the failed check's points.
// After is math.MinInt64 if nothing bounds it, and until if nothing is in doubt.
// What lies beyond all points is for WindowOver.
func (d *Doubt) Window() (after, until int64, lastGood int) {
	return d.longest(func(r *Reach) bool { return r.LastGood >= 0 || r.over(d.checked) })
}

// WindowOver is the longest window over indicated temperatures from lo to hi: a
// cook step is not covered by an instrument's ice points.
func (d *Doubt) WindowOver(lo, hi unit.Celsius) (after, until int64, lastGood int) {
	return d.longest(func(r *Reach) bool { return r.over(span{float64(lo), float64(hi)}) })
}

// WindowAmong is the longest window over those indicated temperatures from lo to
// hi that some check found good before: where an instrument was never checked
// says nothing of where it was.
func (d *Doubt) WindowAmong(lo, hi unit.Celsius) (after, until int64, lastGood int) {
	return d.longest(func(r *Reach) bool { return r.LastGood >= 0 && r.over(span{float64(lo), float64(hi)}) })
}

// longest is the longest window over the reaches that are meant; an empty one
// if nothing is in doubt there.
func (d *Doubt) longest(meant func(*Reach) bool) (after, until int64, lastGood int) {
	after, lastGood = d.Until, -1
	for i := range d.Reaches {
		r := &d.Reaches[i]
		if !r.Clear && meant(r) && (r.After < after || r.LastGood < 0 && r.After == after) {
			after, lastGood = r.After, r.LastGood
		}
	}
	return after, d.Until, lastGood
}

// over reports whether the reach and a closed interval have a temperature in
// common.
func (r *Reach) over(s span) bool {
	return float64(r.Lo) <= s.hi && s.lo < float64(r.Hi)
}

// Constant is a bracket given by hand: the same bounds [K] at all temperatures
// on (after, until]; outside, nothing is in doubt.
func Constant(lo, hi, old, found, u unit.CelsiusDiff, after, failedAt, until int64) *Doubt {
	b := Bounds{Lo: lo, Hi: hi, Old: old, Found: found, U: u}
	band := Band{Nodes: []Node{{-unit.MaxDegrees, b}, {unit.MaxDegrees, b}}}
	return &Doubt{
		FailedAt: failedAt, Until: until, KnownUntil: until, checked: everywhere,
		Reaches: []Reach{{
			Lo: unit.Celsius(everywhere.lo), Hi: unit.Celsius(everywhere.hi),
			LastGood: -1, After: after, trusted: after, Before: band, Later: band,
		}},
	}
}
