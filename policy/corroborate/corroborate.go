// Package corroborate says what a second instrument's word is worth: whether it
// agrees with the one in doubt, and what both together say of a lot.
//
// A second instrument may clear the doubt that the first one left, or add to it.
// It never makes a miss of the first one met.
package corroborate

import (
	"fmt"

	"lastgood/policy/limit"
)

// Testimony is what a second instrument says of the same lot and limit.
type Testimony struct {
	Instrument string
	Refused    string        // why its word does not count; empty: it does
	Verdict    limit.Verdict // of its own readings, with its own bracket
	Readings   int
	Agreement  Agreement
}

// Settled is what both instruments say together.
type Settled struct {
	Verdict limit.Verdict
	By      []string // the instruments that cleared the doubt
	Reasons []string // sentences
}

// Settle weighs testimonies against the verdict of the instrument in doubt.
//
//	own met            any that counts and disagrees or shows a miss → indeterminate
//	own indeterminate  or unknown, and one that counts, agrees, is met and has
//	                   a reading near each of those in doubt, and none that
//	                   counts disagrees or shows a miss             → met
//	own missed         or missed as recorded                         → as it was
//
// Range:   any number of testimonies; a refused one is told and changes nothing.
// Assumes: the second instrument measured the same product at the same step.
// Source:  design of this engine, after the rules for a second instrument in
// design notes on errors, §9: judge by the valid instrument alone, only where
// both agree.
// Departs: agreement cannot be tested where nothing bounds the error in doubt;
// then the second instrument decides alone, as there is nothing to disagree with.
func Settle(own limit.Result, list []Testimony) Settled {
	s := Settled{Verdict: own.Verdict}
	against := false
	for _, t := range list {
		switch {
		case t.Refused != "":
			s.say("the second instrument %s is not counted: %s", t.Instrument, t.Refused)
		case t.Agreement.Tested && !t.Agreement.Holds():
			against = true
			s.say("the second instrument %s disagrees (E_n %.2f): both are in doubt", t.Instrument, t.Agreement.Largest)
		case t.Verdict == limit.Missed:
			against = true
			s.say("the second instrument %s shows that the limit was missed: a deviation of its own", t.Instrument)
		case t.Verdict == limit.Met && t.Agreement.Alone > 0:
			s.say("the second instrument %s shows the limit met, but has no reading near in time to %d of those in doubt: for them it says nothing", t.Instrument, t.Agreement.Alone)
		case t.Verdict == limit.Met && !clears(t):
			s.say("the second instrument %s shows the limit met, but no reading of it is near enough in time to test whether both agree", t.Instrument)
		case t.Verdict == limit.Met:
			s.By = append(s.By, t.Instrument)
		default:
			s.say("the second instrument %s does not decide: %s by its own readings", t.Instrument, t.Verdict)
		}
	}
	s.settle(own, against)
	return s
}

// clears says whether a testimony that the limit was met may clear a doubt.
func clears(t Testimony) bool { return t.Agreement.Tested || t.Agreement.Impossible }

func (s *Settled) settle(own limit.Result, against bool) {
	switch {
	case against:
		s.By = nil
		if own.Verdict == limit.Met {
			s.Verdict = limit.Indeterminate
		}
	case own.Verdict == limit.Missed || own.MissedAsRecorded:
		if len(s.By) > 0 {
			s.say("a second instrument shows the limit met; that never makes a miss of the first one met")
		}
		s.By = nil
	case len(s.By) > 0 && own.Verdict != limit.Met:
		s.Verdict = limit.Met
		for _, by := range s.By {
			s.say("limit met by the second instrument %s, checked good before and after, with its own uncertainty", by)
		}
	}
}

func (s *Settled) say(format string, a ...any) {
	s.Reasons = append(s.Reasons, fmt.Sprintf(format, a...))
}
