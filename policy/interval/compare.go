package interval

import (
	"fmt"
	"math"
	"slices"

	"lastgood/policy/unit"
)

// Exposure is how much product hangs on an instrument.
type Exposure struct{ Readings, Lots, Kg float64 }

// Candidate is what one interval would mean. Pointers are nil where the history
// says nothing.
type Candidate struct {
	Days          float64
	ChecksPerYear float64
	// InDoubt is what one failed check puts in doubt if checks are done when they
	// are due: everything since the last good check, since nobody knows when it
	// went wrong. Worst is the same with the latest check of the history as late
	// again.
	InDoubt, Worst Exposure
	// Affected is how much of it was on average measured after the instrument had
	// gone wrong.
	Affected Exposure
	// Reliability is the probability that the check at the end finds it within
	// tolerance, and ReliabilityLow its bound. After a history without a failure
	// the likeliest is 1, which promises nothing: read the bound.
	Reliability    *float64
	ReliabilityLow float64
	// FailuresPerYear are failed checks expected in a year, FailuresHigh their
	// bound; InDoubtPerYear is what they put in doubt together.
	FailuresPerYear *float64
	FailuresHigh    float64
	InDoubtPerYear  *Exposure
	// Reach is the largest error that drift is expected to have brought at the
	// end.
	Reach *unit.CelsiusDiff
}

// Report compares the candidates.
type Report struct {
	Observed   Observed
	Rate       *float64 // failures per day; nil: none can be stated
	Drift      *Drift
	Test       *Test       // of the present interval; nil if no check was at its end
	Candidates []Candidate // ascending; the present interval is among them
	Suggestion Suggestion
	Method     string
}

// Method names this way of comparing; another formula is another name.
const Method = "interval/exposure@1"

// Compare says what each candidate interval [days] would mean for an instrument
// with this history and use, whose interval is present [days].
//
//	in doubt = q T;  worst = q (T + late);  affected = q a(T, λ)
//	checks per year = 365 / T;  R(T) = exp(−λT);  failures per year = (365 / T)(1 − R)
//
//	q     use on a day: readings, lots or kilograms    [1/day]
//	T     candidate interval                           [day]
//	late  the longest that a check was overdue         [day]
//	λ     failure rate, and its upper bound            [1/day]
//
// Range:    0 < T ≤ 3650 days.
// Assumes:  the same use every day of the year; a failed check takes the
// instrument out of use at once and it comes back good; one more lot may be under
// way at each end.
// Source:   deduction from the suspect window (design §4, §12) and the exponential
// model of NASA RP 1342 (1994).
// Departs:  nothing.
// Checked:  a year worked by hand, and properties.
func Compare(h History, u Use, present float64, candidates []float64, aim Aim) (Report, error) {
	aim = aim.settled()
	for _, err := range []error{h.verify(), u.verify(), aim.verify()} {
		if err != nil {
			return Report{}, err
		}
	}
	days, err := ascending(append([]float64{present}, candidates...))
	if err != nil {
		return Report{}, err
	}
	spans, observed := h.spans()
	r := Report{Observed: observed, Method: Method, Test: testPresent(spans, present, aim)}
	if rate, ok := failureRate(spans); ok {
		r.Rate = &rate
	}
	steps := h.steps()
	if len(h.Checks) > 0 {
		if last := h.Checks[len(h.Checks)-1].left(); last != nil && len(steps) >= fewSteps {
			d, err := FitDrift(steps, *last, h.Resolution)
			if err != nil {
				return Report{}, err
			}
			r.Drift = &d
		}
	}
	high := failureRateBound(spans, aim.Confidence)
	for _, d := range days {
		r.Candidates = append(r.Candidates, r.candidate(d, u, high, len(steps), aim))
	}
	r.Suggestion = r.suggest(h, present, aim)
	return r, nil
}

// ascending sorts the intervals and keeps each once.
func ascending(days []float64) ([]float64, error) {
	for _, d := range days {
		if !(d > 0 && d <= 3650) {
			return nil, fmt.Errorf("%g days is no interval: more than none, at most ten years", d)
		}
	}
	slices.Sort(days)
	return slices.Compact(days), nil
}

// candidate computes one line of the report.
func (r *Report) candidate(d float64, u Use, high float64, steps int, aim Aim) Candidate {
	c := Candidate{Days: d, ChecksPerYear: Year / d, InDoubt: u.over(d), Worst: u.over(d + r.Observed.Overrun)}
	low := -math.Expm1(-high * d)
	c.ReliabilityLow, c.FailuresHigh = 1-low, low*c.ChecksPerYear
	rate := 0.0
	if r.Rate != nil {
		rate = *r.Rate
		reliability := math.Exp(-rate * d)
		failures := -math.Expm1(-rate*d) * c.ChecksPerYear
		year := u.over(d * failures)
		c.Reliability, c.FailuresPerYear, c.InDoubtPerYear = &reliability, &failures, &year
	}
	c.Affected = u.over(affected(d, rate))
	if r.Drift != nil {
		reach := r.Drift.reach(d, steps, aim.Confidence)
		c.Reach = &reach
	}
	return c
}

// over is the use of so many days.
func (u Use) over(days float64) Exposure {
	return Exposure{u.ReadingsPerDay * days, u.LotsPerDay * days, u.KgPerDay * days}
}

// testPresent tests the present interval against the checks at the end of intervals
// of about its length: from half of it to half as much again (judgement). Each of
// its two limits has the aim's confidence.
func testPresent(spans []span, present float64, aim Aim) *Test {
	within, of := 0, 0
	for _, s := range spans {
		if s.days < present/2 || s.days > present*3/2 {
			continue
		}
		of++
		if !s.outside {
			within++
		}
	}
	t, err := TestInterval(within, of, aim.Reliability, 2*aim.Confidence-1)
	if err != nil { // no check at its end
		return nil
	}
	return &t
}
