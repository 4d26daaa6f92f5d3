// Package limit judges whether a lot met its critical limit: as recorded, and
// over everything the thermometer's error may have been.
//
// A kind of limit (at least, hold, cooling, growth and so on) is a Criterion; the
// registry in kind.go finds it by the name it has in a policy. What all kinds
// share is here: the series corrected along the ends of the error's bracket,
// the verdict, the probability. Nothing here says that a lot is safe; it says
// whether the limit was met after correction.
package limit

import (
	"time"

	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// Limit is one version of a critical limit, as a policy states it.
type Limit struct {
	Name       string
	Kind       string // the name of its kind in the registry
	Hazard     string // what it controls, in the policy's own words; may be empty
	Monitoring string // Discrete, Continuous, OnException, or "" where the policy does not say
	AppliesTo  AppliesTo
	ValidFrom  *time.Time // nil: since ever
	ValidUntil *time.Time // not included; nil: until further notice
	Criterion  Criterion
	Text       string // one line for people: "at least 165 F"
}

// The ways in which a limit is monitored.
const (
	Discrete    = "discrete"   // single readings, each of which vouches for what was made around it
	Continuous  = "continuous" // a record that must cover the lot
	OnException = "exception"  // only what was out of limits is recorded: silence shows nothing
)

// AppliesTo names the lots a limit covers besides those whose readings name it.
type AppliesTo struct {
	Products, Locations []string
}

// InForce says whether l was in force at t: from ValidFrom on, until just
// before ValidUntil.
func (l Limit) InForce(t time.Time) bool {
	return (l.ValidFrom == nil || !t.Before(*l.ValidFrom)) && (l.ValidUntil == nil || t.Before(*l.ValidUntil))
}

// Sample returns the reading of value at the time at [µs], on the scale of the
// limit. A value that does not fit in whole millionths there is rounded towards
// harm, so that rounding never makes a lot meet its limit.
func (l Limit) Sample(at int64, value float64, from unit.Scale) series.Sample {
	h := l.Criterion.Harm()
	return series.Sample{At: at, T: unit.Convert(unit.FromFloat(value, h), from, l.Criterion.Scale(), h)}
}

// Criterion is what must hold at a critical control point. The kinds of this
// package implement it; there are no others.
type Criterion interface {
	// Scale is the scale the limit is written in; series are judged on it.
	Scale() unit.Scale
	// Harm is the harmful direction of the product's temperature: Colder for a
	// minimum, Hotter for a maximum.
	Harm() unit.Rounding
	// Judge evaluates a series as it stands. unit.Unknown samples are moments
	// of which nothing is known.
	Judge(s series.Series) Outcome
	// Headroom is the largest constant shift of all temperatures in the harmful
	// direction with which s still holds; negative where s fails. It is false
	// where no shift decides, or where s is undecided.
	Headroom(s series.Series) (unit.CelsiusDiff, bool)
	// String is the limit in one line for people: "at least 165 F".
	String() string
	// Temperatures are where an instrument must have been good for its readings
	// to count.
	Temperatures() []unit.Celsius
	// Span is the indicated temperatures at which an error can hide a miss.
	Span() (lo, hi unit.Celsius)

	measure() Measure                        // what is measured and how much of it is required
	gapAfter() int64                         // an interval longer than this is a gap [µs]; 0: none is
	margin(s series.Series) unit.CelsiusDiff // headroom over what is known [K]; ±Inf where no shift decides
	otherRules(s series.Series) []named
}

// Decision is what a series says about a limit.
type Decision int8

// A series holds, fails, or does not decide: too few readings, gaps,
// temperatures of which nothing is known.
const (
	Undecided Decision = iota
	Holds
	Fails
)

// Outcome is a series judged by a criterion, without any error considered.
type Outcome struct {
	Decision Decision
	Value    *float64 // the measure, in its unit; nil where nothing can be said
}

// Verdict is what can be said of a lot after correction.
type Verdict string

// The verdicts. There is none that says safe.
const (
	Met           Verdict = "met"           // the limit holds even with the worst error
	Indeterminate Verdict = "indeterminate" // it depends on the error
	Missed        Verdict = "missed"        // the limit fails even with the best error
	Unknown       Verdict = "unknown"       // the record does not decide
)

// gravity orders verdicts where one of several must stand for a lot.
var gravity = map[Verdict]int{Met: 0, Indeterminate: 1, Unknown: 2, Missed: 3}

// LessGrave says whether w outweighs v where one must stand for both: missed
// before unknown before indeterminate before met.
func (v Verdict) LessGrave(w Verdict) bool { return gravity[v] < gravity[w] }

// Errors says what the error of a reading may have been. *metrology.Doubt is
// one; the engine narrows it to the limit's own window.
type Errors interface {
	At(at int64, x unit.Celsius) (metrology.Bounds, metrology.Standing)
	Reason(at int64, x unit.Celsius) string
}

// Measure is the number that a limit is about. Temperatures are in °C ("C"),
// times in seconds ("s"), lethality in minutes ("min"). A number is nil where
// nothing can be said.
type Measure struct {
	Name, Unit string
	Required   *float64
	Recorded   *float64 // from the readings as they were taken
	Corrected  *float64 // with the error as found taken out of every reading in doubt
	Worst      *float64 // at the harmful end of the bracket
}

// RuleValue is the measure by another published rule, or a part of it, shown
// beside the one that decides. Its unit is the measure's unless it says another.
type RuleValue struct {
	Rule                       string
	Unit                       string
	Recorded, Corrected, Worst *float64
}

// Result is one lot judged under one limit.
type Result struct {
	Verdict           Verdict
	Readings          int
	Measure           Measure
	OtherRules        []RuleValue
	Headroom          *unit.CelsiusDiff // of the readings as recorded [K]; nil: unbounded or unknown
	WorstError        *unit.CelsiusDiff // largest error in the harmful direction [K]; nil: unknown, or nothing in doubt
	ProbabilityMissed *float64          // under the onset's model; nil: unknown
	Probabilities     []Likelihood      // under every model; none: unknown
	Quality           string            // where the error was harmless: what it did to the product; "": it was not
	MissedAsRecorded  bool              // the readings missed the limit before any correction
	Reasons           []string          // sentences, so that a person sees why
	Method            string            // "limit/at_least@1"
}

// named is a value with the name of the rule that gave it.
type named struct {
	rule  string
	unit  string // "": that of the measure
	value *float64
}
