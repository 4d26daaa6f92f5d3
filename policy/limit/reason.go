package limit

import (
	"fmt"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// reasons says in sentences why the verdict is what it is.
func reasons(r Result, t tried, b *bracket, c Criterion, errs Errors) []string {
	out := []string{verdictReason(r, t, b)}
	if r.MissedAsRecorded {
		out = append(out, "missed as recorded: correcting the instrument never makes this lot met, and the miss is a deviation of its own")
	}
	if t, ok := c.(teller); ok && len(b.recorded.Samples) > 0 {
		out = append(out, t.tell(b.recorded)...)
	}
	out = append(out, silences(b, c, errs)...)
	if r.Verdict == Indeterminate && r.Headroom != nil && r.WorstError != nil && *r.Headroom >= *r.WorstError && !r.MissedAsRecorded {
		out = append(out, "headroom is for an error that stays the same throughout: one that changes within the lot is worse than either end of its bracket")
	}
	if r.Verdict == Met && b.inDoubt > 0 && b.safeSide {
		reads, was := distance(c.Harm())
		out = append(out, fmt.Sprintf("as found the instrument read %s, so the product was %s than recorded: a quality matter, not the harmful direction", reads, was))
	}
	if atLimit(t.recorded, r.Measure) {
		out = append(out, "as recorded exactly at the limit, which meets it: a limit is inclusive")
	}
	return out
}

// teller is a criterion of several parts that says what became of each.
type teller interface {
	tell(s series.Series) []string // sentences about the series as recorded
}

func verdictReason(r Result, t tried, b *bracket) string {
	switch {
	case r.Verdict == Met && b.inDoubt == 0:
		return "limit met: no reading that decides is in doubt"
	case r.Verdict == Met && t.recorded.Decision == Undecided:
		return "limit met after correction, with the worst error too; as recorded it was not decided"
	case r.Verdict == Met:
		return "limit met after correction, with the worst error too"
	case r.Verdict == Missed && b.inDoubt == 0:
		return "limit missed by readings that are not in doubt"
	case r.Verdict == Missed:
		return "limit missed after correction, with the best error too"
	case r.Verdict == Indeterminate && t.worst.Decision == Holds:
		return "limit met after correction, but not as recorded"
	case r.Verdict == Indeterminate:
		return "limit met with the best error and missed with the worst: the checks do not decide"
	case r.Readings == 0:
		return "there is no reading under this limit"
	}
	return "the record does not decide"
}

// silences says what the record leaves out.
func silences(b *bracket, c Criterion, errs Errors) []string {
	var out []string
	h := look(b.recorded, c.gapAfter())
	if h.gaps > 0 {
		out = append(out, fmt.Sprintf("%s longer than %s: %s from %s to %s",
			count(h.gaps, "gap"), written(time.Duration(c.gapAfter())*time.Microsecond), span(h.from, h.to), clock(h.from), clock(h.to)))
	}
	if h.unknown > 0 {
		out = append(out, fmt.Sprintf("%s without a usable value, the first at %s",
			count(h.unknown, "reading"), clock(b.recorded.Samples[h.firstUnknown].At)))
	}
	if b.unknown > 0 {
		s := b.recorded.Samples[b.firstUnknown]
		why := errs.Reason(s.At, unit.ToCelsius(s.T, c.Scale()))
		if why == "" {
			why = "nothing bounds its error"
		}
		out = append(out, fmt.Sprintf("%s of unknown error, the first at %s: %s", count(b.unknown, "reading"), clock(s.At), why))
	}
	return out
}

// atLimit says whether the measure as recorded is exactly what is required.
func atLimit(recorded Outcome, m Measure) bool {
	return recorded.Decision == Holds && recorded.Value != nil && *recorded.Value == *m.Required
}
