// Package interval compares check intervals of one instrument: how much product
// one failed check would put in doubt, how many checks and failures a year each
// interval means, and how likely the instrument is still within its tolerance at
// the end of it, from its own history.
//
// It computes and suggests. Nobody's interval is changed by it: a person decides,
// and where the history is too short to say anything it says so.
package interval

import (
	"fmt"
	"math"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// Check is one accuracy check as it counts here.
type Check struct {
	At  int64 // µs since 1970-01-01T00:00:00Z
	Due int64 // when it was due; 0: unknown
	// Found is what the check said before anybody touched the instrument, Left
	// what it said after. A check that is not one (expired or failed reference)
	// is left out of the history.
	Found, Left metrology.Verdict
	// FoundError and LeftError are the errors at the worst point, indicated −
	// true; nil: none taken. An instrument that was not adjusted is left as found.
	FoundError, LeftError *unit.CelsiusDiff
}

// History is what is known of one instrument.
type History struct {
	InServiceFrom int64   // 0: unknown, and the first check ends no interval
	Checks        []Check // ascending in time
	Tolerance     unit.CelsiusDiff
	Resolution    unit.CelsiusDiff
}

// Use is how much an instrument vouches for on a day of use.
type Use struct{ ReadingsPerDay, LotsPerDay, KgPerDay float64 }

// Aim is what the site wants of an interval.
type Aim struct {
	// Reliability is the probability that a check at the end of the interval
	// finds the instrument within its tolerance; 0: DefaultReliability.
	Reliability float64
	Confidence  float64 // of every bound, one-sided, above ½; 0: DefaultConfidence
	// MostLots and MostKg are what one failure may put in doubt; nil: no bound.
	MostLots, MostKg *float64
}

// What an aim that says nothing stands for. Judgement.
const (
	DefaultReliability = 0.95
	DefaultConfidence  = 0.90
)

// Year is the number of days that rates per year are for.
const Year = 365.0

// Candidates are the intervals usually compared [days], beginning with once a
// shift.
func Candidates(shiftsPerDay int) []float64 {
	days := []float64{1, 2, 3, 7, 14, 30, 90, 180, 365}
	if shiftsPerDay < 2 {
		return days
	}
	return append([]float64{1 / float64(shiftsPerDay)}, days...)
}

func (a Aim) settled() Aim {
	if a.Reliability == 0 {
		a.Reliability = DefaultReliability
	}
	if a.Confidence == 0 {
		a.Confidence = DefaultConfidence
	}
	return a
}

func (a Aim) verify() error {
	if !inside(a.Reliability) || !inside(a.Confidence) || a.Confidence <= 0.5 {
		return fmt.Errorf("a reliability of %g at a confidence of %g cannot be aimed at: they lie between 0 and 1, and ½ and 1", a.Reliability, a.Confidence)
	}
	for _, most := range []*float64{a.MostLots, a.MostKg} {
		if most != nil && !(*most >= 0) {
			return fmt.Errorf("%g is no quantity that may be in doubt", *most)
		}
	}
	return nil
}

func (u Use) verify() error {
	for _, v := range []float64{u.ReadingsPerDay, u.LotsPerDay, u.KgPerDay} {
		if !(v >= 0) || math.IsInf(v, 1) {
			return fmt.Errorf("%g is no use per day", v)
		}
	}
	return nil
}

func (h *History) verify() error {
	if !(h.Tolerance > 0) || !(h.Resolution >= 0) || math.IsInf(float64(h.Tolerance+h.Resolution), 1) {
		return fmt.Errorf("a tolerance of %g K and a resolution of %g K are not possible", float64(h.Tolerance), float64(h.Resolution))
	}
	last := h.InServiceFrom
	for i, c := range h.Checks {
		if i+h.first() > 0 && c.At < last {
			return fmt.Errorf("check %d is before what comes before it: put them in order of time", i+1)
		}
		last = c.At
		for _, e := range []*unit.CelsiusDiff{c.FoundError, c.LeftError} {
			if e != nil && (math.IsNaN(float64(*e)) || math.IsInf(float64(*e), 0)) {
				return fmt.Errorf("check %d: the error has to be a number", i+1)
			}
		}
	}
	return nil
}

// first is 1 if going into service begins the first interval.
func (h *History) first() int {
	if h.InServiceFrom != 0 {
		return 1
	}
	return 0
}

// inside reports whether v is a probability that is neither 0 nor 1.
func inside(v float64) bool { return v > 0 && v < 1 }
