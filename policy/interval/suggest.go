package interval

import (
	"fmt"
	"strings"
)

// Suggestion is a proposal to a person, with the reason.
type Suggestion struct {
	Advice Advice
	// Days is the longest candidate that meets the aim; nil if none does or there
	// are too few checks to say.
	Days *float64
	// ByExposure is the longest candidate at which one failure puts no more in
	// doubt than the aim allows, whatever the history; nil if there is no such
	// bound or none meets it.
	ByExposure *float64
	Reason     string
}

// The advices that name no interval.
const (
	TooFew Advice = "too few checks to say"
	None   Advice = "no interval meets the aim"
)

// fewSpans is the smallest number of intervals that a suggestion is made from.
// Judgement: below it one bad day decides everything.
const fewSpans = 5

// suggest takes the longest candidate that meets the aim. Shorter ones meet it
// as well, at the price of more checks.
func (r *Report) suggest(h History, present float64, aim Aim) Suggestion {
	s := Suggestion{ByExposure: r.byExposure(aim)}
	var longest *Candidate
	var next string // why not longer
	for i := range r.Candidates {
		c := &r.Candidates[i]
		why := c.exposed(aim)
		if why == "" {
			why = c.unreliable(h, aim)
		}
		if why != "" {
			next = fmt.Sprintf("at %s %s", inDays(c.Days), why)
			break
		}
		longest = c
	}
	switch {
	case r.Observed.Spans < fewSpans:
		s.Advice = TooFew
		s.Reason = fmt.Sprintf("%s: %d intervals between checks count, and %d are needed", TooFew, r.Observed.Spans, fewSpans)
	case longest == nil && r.Observed.Within == r.Observed.Spans && s.exposureAllows(aim):
		s.Advice = TooFew
		s.Reason = fmt.Sprintf("%s: all of %d intervals ended within tolerance, and yet %s", TooFew, r.Observed.Spans, next)
	case longest == nil:
		s.Advice = None
		s.Reason = fmt.Sprintf("%s: %s; look at the instrument and its use before the calendar", None, next)
	default:
		s.Days, s.Advice = new(longest.Days), compare(longest.Days, present)
		s.Reason = r.reason(s, present, aim, next)
	}
	if s.Days == nil && s.ByExposure != nil {
		s.Reason += fmt.Sprintf("; by what one failure may put in doubt alone, %s is the longest", inDays(*s.ByExposure))
	}
	return s
}

// byExposure is the longest candidate by what one failure may put in doubt.
func (r *Report) byExposure(aim Aim) *float64 {
	if aim.MostLots == nil && aim.MostKg == nil {
		return nil
	}
	var longest *float64
	for _, c := range r.Candidates {
		if c.exposed(aim) == "" {
			longest = new(c.Days)
		}
	}
	return longest
}

// exposureAllows reports whether the bound on exposure, if any, can be met.
func (s *Suggestion) exposureAllows(aim Aim) bool {
	return s.ByExposure != nil || aim.MostLots == nil && aim.MostKg == nil
}

func compare(days, present float64) Advice {
	switch {
	case days < present:
		return Shorten
	case days > present:
		return Lengthen
	}
	return Keep
}

// exposed says why one failure would put too much in doubt; empty if not.
func (c *Candidate) exposed(aim Aim) string {
	if aim.MostLots != nil && c.Worst.Lots > *aim.MostLots {
		return fmt.Sprintf("one failure may put %.4g lots in doubt, and %.4g may be", c.Worst.Lots, *aim.MostLots)
	}
	if aim.MostKg != nil && c.Worst.Kg > *aim.MostKg {
		return fmt.Sprintf("one failure may put %.6g kg in doubt, and %.6g may be", c.Worst.Kg, *aim.MostKg)
	}
	return ""
}

// unreliable says why the instrument may not hold out so long; empty if it does.
func (c *Candidate) unreliable(h History, aim Aim) string {
	if c.ReliabilityLow < aim.Reliability {
		return fmt.Sprintf("the history only shows a reliability of %.3g at %.3g %% confidence, and %.3g is aimed at",
			c.ReliabilityLow, 100*aim.Confidence, aim.Reliability)
	}
	if c.Reach != nil && *c.Reach > h.Tolerance {
		return fmt.Sprintf("drift may have brought the error to %.3g K of a tolerance of %.3g K",
			float64(*c.Reach), float64(h.Tolerance))
	}
	return ""
}

// reason says what the suggestion stands on.
func (r *Report) reason(s Suggestion, present float64, aim Aim, next string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s", s.Advice)
	if s.Advice != Keep {
		fmt.Fprintf(&b, " from %s to %s", inDays(present), inDays(*s.Days))
	} else {
		fmt.Fprintf(&b, " %s", inDays(present))
	}
	fmt.Fprintf(&b, ": %d of %d intervals ended within tolerance, and it is the longest on the list that meets a reliability of %.3g at %.3g %% confidence",
		r.Observed.Within, r.Observed.Spans, aim.Reliability, 100*aim.Confidence)
	if aim.MostLots != nil || aim.MostKg != nil {
		b.WriteString(" and the bound on what one failure may put in doubt")
	}
	if next != "" {
		fmt.Fprintf(&b, "; %s", next)
	}
	return b.String()
}

// inDays writes an interval: 0.333 day, 1 day, 14 days.
func inDays(d float64) string {
	if d <= 1 {
		return fmt.Sprintf("%.3g day", d)
	}
	return fmt.Sprintf("%.4g days", d)
}
