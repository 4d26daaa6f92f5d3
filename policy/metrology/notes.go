package metrology

import (
	"fmt"
	"slices"
)

// notes is what must be said loudly about a doubt, each in one sentence.
func (d *dossier) notes(doubt *Doubt) []string {
	var out []string
	add := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	after, _, lastGood := doubt.Window()
	if lastGood < 0 && after < doubt.Until {
		add("no last good check%s: every reading until the failed check is in doubt", d.since())
	}
	if d.sides[d.Failed].found == nil {
		add("%s: the error is unknown over the whole window", d.noAsFound())
	} else if d.sides[d.Failed].judged.Found == Inconclusive {
		add("the check is inconclusive and is treated as failed: %s", d.sides[d.Failed].judged.Reason)
	}
	if why := d.disturbed(after, doubt.FailedAt); why != "" {
		add("%s: the error is unknown from the last good check to the next", why)
	}
	for _, c := range d.Checks {
		if c.Untrusted != "" && c.At > after && c.At <= doubt.FailedAt {
			add("the check of %s does not count: %s", day(c.At), c.Untrusted)
		}
	}
	for _, e := range d.Events {
		if e.Kind == ReturnedToUse && e.At >= doubt.FailedAt && e.At < doubt.Until {
			add("it came back into use on %s without a check that it clearly passed", day(e.At))
		}
	}
	if n, at := d.repeatedUntilPassed(); n > 0 {
		add("after it failed the check was repeated until it passed on %s (attempt %d), and nothing recorded between explains why: a finding; the first valid result governs", day(at), n+1)
	}
	switch asked := d.asked(); {
	case doubt.Until != open:
	case d.passedSince():
		add("the window is open: no one check since was good at all of what is asked for, %.1f °C to %.1f °C", asked.lo, asked.hi)
	default:
		add("the window is open: it was neither taken out of use nor found good since")
	}
	return out
}

// passedSince reports whether it clearly passed some check since the failed one,
// wherever that was.
func (d *dossier) passedSince() bool {
	return slices.ContainsFunc(d.sides[d.Failed:], func(s sides) bool { return s.left != nil && s.judged.Left == Pass })
}

// asked is the true temperatures that a check must span to settle all since the
// failed one.
func (d *dossier) asked() span {
	all, _ := d.wanted(d.Failed)
	for k := d.Failed + 1; k < len(d.Checks); k++ {
		w, _ := d.wanted(k)
		all = span{min(all.lo, w.lo), max(all.hi, w.hi)}
	}
	return all
}

// repeatedUntilPassed is how many repeats after the failed check it took until
// one passed, and when, if nothing was done or happened in between that could be
// the cause. An inconclusive check is there to be repeated.
func (d *dossier) repeatedUntilPassed() (repeats int, at int64) {
	if d.sides[d.Failed].found == nil || d.sides[d.Failed].judged.Found != Fail {
		return 0, 0
	}
	failed := d.Checks[d.Failed]
	if failed.adjusted() || failed.leftUnknown() {
		return 0, 0
	}
	for i := d.Failed + 1; i < len(d.Checks); i++ {
		c, s := d.Checks[i], d.sides[i]
		if d.caused(failed.At, c.At) {
			return 0, 0
		}
		if s.found == nil {
			continue
		}
		if s.judged.Found == Pass && d.settles(i) {
			return i - d.Failed, c.At
		}
		if c.adjusted() || c.leftUnknown() {
			return 0, 0
		}
	}
	return 0, 0
}

// caused reports whether something recorded after one check and not after
// another may be why the second passed.
func (d *dossier) caused(after, until int64) bool {
	for _, e := range d.Events {
		if e.At > after && e.At <= until && e.Kind != RemovedFromUse && e.Kind != ReturnedToUse {
			return true
		}
	}
	return false
}
