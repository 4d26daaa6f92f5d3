package limit

import (
	"cmp"
	"errors"
	"fmt"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// version is the version of the way limits are evaluated; a formula that
// changes is a new one.
const version = "@1"

// Evaluate judges s, the readings of one lot as recorded, on the scale of the
// limit and in order of time, over everything that errs says the thermometer's
// error may have been.
//
// The error is common to all readings: for most kinds the two ends of its
// bracket, taken out of all of them at once, are the worst and the best path. For
// cooling and growth they are not; those judge all paths at once. met: the limit
// holds on the worst. missed: it fails on the best. indeterminate: in between.
// unknown: one of the two does not decide. A lot that missed as recorded is never
// met by correcting the failed instrument.
//
// Its error says that the series cannot be judged at all.
func (l Limit) Evaluate(s series.Series, errs Errors, onset Onset) (Result, error) {
	c := l.Criterion
	if err := judgeable(s, c); err != nil {
		return Result{}, err
	}
	b := take(s, errs, c)
	t := tried{recorded: c.Judge(s)}
	t.worst, t.best = b.ends(c)
	r := Result{
		Readings: len(s.Samples), Measure: c.measure(), OtherRules: rules(c.otherRules(s), c.measure().Unit),
		Method: "limit/" + l.Kind + version,
	}
	t.found = c.Judge(b.along(found))
	if len(r.OtherRules) > 0 {
		addRules(r.OtherRules, c.otherRules(b.scratch()), func(r *RuleValue) **float64 { return &r.Corrected })
		if _, all := c.(between); !all { // else no one series is the worst
			addRules(r.OtherRules, c.otherRules(b.along(worst)), func(r *RuleValue) **float64 { return &r.Worst })
		}
	}

	r.Measure.Recorded, r.Measure.Corrected, r.Measure.Worst = t.recorded.Value, t.found.Value, t.worst.Value
	r.Verdict = t.verdict()
	r.MissedAsRecorded = t.recorded.Decision == Fails
	if h, ok := c.Headroom(s); ok {
		r.Headroom = &h
	}
	if b.inDoubt > 0 && (r.Verdict != Unknown || b.unknown == 0) {
		r.WorstError = new(b.worstError)
	}
	if r.Verdict != Unknown {
		r.Probabilities = b.likelihoods(c, onset)
		r.ProbabilityMissed = onset.headline(r.Probabilities)
	}
	if r.Verdict == Met {
		r.Quality = b.quality(c, r.Measure)
	}
	r.Reasons = reasons(r, t, b, c, errs)
	return r, nil
}

// between is a criterion whose worst and best over all paths inside the bracket
// are not its two constant ends.
type between interface {
	// within judges everything between two series at once: cold is every reading
	// less the highest error of its bracket, hot less the lowest, both rounded
	// outwards; they are unknown at the same places.
	within(cold, hot series.Series) (worst, best Outcome)
}

// ends judges the worst and the best of all paths inside the bracket.
func (b *bracket) ends(c Criterion) (atWorst, atBest Outcome) {
	w, ok := c.(between)
	if !ok {
		atBest = c.Judge(b.along(best))
		return c.Judge(b.along(worst)), atBest
	}
	cold, hot := b.copyOf(worst), b.along(best)
	if c.Harm() == unit.Hotter {
		cold, hot = hot, cold
	}
	return w.within(cold, hot)
}

// judgeable refuses a series that is not the limit's.
func judgeable(s series.Series, c Criterion) error {
	switch {
	case s.Scale != c.Scale():
		return fmt.Errorf("the series is in %s and the limit in %s: bring the readings to the limit's scale", s.Scale, c.Scale())
	case s.Start != 0 && s.End != 0 && s.End < s.Start:
		return errors.New("the series ends before it starts")
	}
	return s.Check()
}

// tried is a series judged along the paths that matter.
type tried struct {
	recorded, found, worst, best Outcome
}

func (t tried) verdict() Verdict {
	switch {
	case t.best.Decision == Fails:
		return Missed
	case t.worst.Decision == Holds && t.recorded.Decision == Fails:
		return Indeterminate
	case t.worst.Decision == Holds:
		return Met
	case t.worst.Decision == Undecided || t.best.Decision == Undecided:
		return Unknown
	}
	return Indeterminate
}

// rules starts the rows of the rules that do not decide.
func rules(recorded []named, measured string) []RuleValue {
	var out []RuleValue
	for _, n := range recorded {
		out = append(out, RuleValue{Rule: n.rule, Unit: cmp.Or(n.unit, measured), Recorded: n.value})
	}
	return out
}

func addRules(rows []RuleValue, values []named, column func(*RuleValue) **float64) {
	for i, n := range values {
		*column(&rows[i]) = n.value
	}
}

// distance says which way a temperature is wrong, in words.
func distance(harm unit.Rounding) (reads, was string) {
	if harm == unit.Colder {
		return "low", "hotter"
	}
	return "high", "colder"
}
