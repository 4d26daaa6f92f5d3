// Package metrology is the measuring half of the engine: what was the error of
// a thermometer, how well is it known, and from when to when.
//
// A check point compares an indication with a Reference (melting ice, boiling
// water, a certified thermometer). JudgePoint and Check.Judge say whether the
// error lies within the tolerance. NewDoubt takes all that is known of one
// instrument around a failed check and answers, for every time and every
// indicated temperature, between which bounds the error lay, or that nobody
// knows. Vouch does the same for a second instrument that never failed, and
// Independent and EN say whether its word counts.
//
// Uncertainties are combined by the GUM, with degrees of freedom: Combine, Rule's
// Expanded, and Point's Repeated for repeats of a point. GlobalRisk says how often
// a check with a given method and guard band ends wrongly.
//
// The error is indicated minus true throughout: a thermometer that reads high
// has a positive error, and product was colder than recorded.
//
// Nothing here is read from a clock, a file or a source of chance. The same
// facts give the same answer.
package metrology
