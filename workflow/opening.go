package workflow

import (
	"math"
	"slices"
	"sort"
	"time"

	"lastgood/policy/metrology"
	"lastgood/workflow/instrument"
)

// opening is something that opens a deviation: a check that did not clearly
// pass, something that happened to the instrument before which nobody looked, or
// a check that nobody made in time. One of the three is set.
type opening struct {
	check   *instrument.Recorded
	event   *instrument.RecordedEvent
	overdue *instrument.Overdue
	// until is when it next clearly passed [µs]; math.MaxInt64: not yet.
	until int64
}

func (o opening) at() int64 {
	switch {
	case o.check != nil:
		return o.check.At
	case o.event != nil:
		return o.event.At
	}
	return o.overdue.DueAt
}

// openings walks an instrument's history and returns what opens a deviation: the
// first check that failed, was inconclusive or unusable, left the instrument out
// of tolerance, or hung on a reference that was itself in doubt; the first fault
// that comes and goes; and the first adjustment, repair, re-ranging or change of
// battery without an as-found; the first check that was overdue while it was being
// read; each since the last clear pass. The verdicts are
// those that were recorded, or that a late certificate changed: another decision
// rule changes none. What follows before the next clear pass belongs to the same
// deviation.
func openings(h instrument.History) []opening {
	var out []opening
	opens := func(o opening) {
		o.until = math.MaxInt64
		out = append(out, o)
	}
	failing, outSince, away := false, int64(notYet), false
	for _, m := range timeline(h) {
		switch {
		case m.check != nil:
			if !passed(m.check) {
				if !failing {
					opens(m)
				}
				failing = true
			}
			if endsDoubt(m.check) {
				if failing {
					out[len(out)-1].until = m.at()
				}
				failing = false
			}
		case m.overdue != nil:
			if !failing && !away && !madeInTime(h, *m.overdue) {
				opens(m)
				failing = true
			}
		case m.event.Kind == metrology.RemovedFromUse:
			outSince = min(outSince, m.event.At)
			away = away || !m.event.UsedAfter
		case m.event.Kind == metrology.ReturnedToUse:
			outSince, away = notYet, false
		case m.event.Kind == metrology.Intermittent && !failing:
			opens(m)
			failing = true
		case adjusts(m.event.Kind) && !failing && !hasFound(h, min(outSince, m.event.At), m.event.At):
			opens(m)
			failing = true
		}
	}
	return out
}

// words says what happened.
func (o opening) words() string {
	switch {
	case o.overdue != nil:
		return "its check was overdue since " + time.UnixMicro(o.overdue.DueAt).UTC().Format("2006-01-02 15:04 UTC")
	case o.check == nil && o.event.Kind == metrology.Intermittent:
		return "a fault that comes and goes was noted"
	case o.check == nil:
		return string(o.event.Kind) + " without an as-found"
	case o.check.Untrusted != "":
		return "its check lost its worth: " + o.check.Untrusted
	case o.check.Unusable:
		return "lost or broken: no as-found value"
	case o.check.Found == metrology.Fail:
		return "failed its check"
	case o.check.Found == metrology.Pass:
		return "was left out of tolerance by its check"
	}
	return "its check was inconclusive"
}

// timeline puts everything in one order of time; at the same moment a check stands
// before an event, and both before that a check was overdue.
func timeline(h instrument.History) []opening {
	var all []opening
	for i := range h.Checks {
		all = append(all, opening{check: &h.Checks[i]})
	}
	for i := range h.Events {
		all = append(all, opening{event: &h.Events[i]})
	}
	for i := range h.Overdue {
		all = append(all, opening{overdue: &h.Overdue[i]})
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].at() < all[j].at() })
	return all
}

// passed: found in tolerance, not left out of it, by a reference to be trusted.
func passed(c *instrument.Recorded) bool {
	return c.Untrusted == "" && !c.Unusable && c.Found == metrology.Pass && (c.Left == metrology.Pass || c.LeftUnknown && c.Left != metrology.Fail)
}

// madeInTime: a check that became known later was made in time after all.
func madeInTime(h instrument.History, o instrument.Overdue) bool {
	_, inTime := settled(h, o)
	return inTime
}

// settled returns which check is the one that was overdue: one that became known
// later and was clearly passed in time, or the first that was made since and is a
// check at all. -1: nobody made it yet.
func settled(h instrument.History, o instrument.Overdue) (made int, inTime bool) {
	for i := len(h.Checks) - 1; i >= 0; i-- {
		if c := &h.Checks[i]; c.At >= o.InTimeFrom && c.At <= o.DueAt && endsDoubt(c) {
			return i, true
		}
	}
	return slices.IndexFunc(h.Checks, func(c instrument.Recorded) bool { return c.At > o.DueAt && c.Untrusted == "" }), false
}

// endsDoubt: found clearly in tolerance, or adjusted and then clearly in it.
func endsDoubt(c *instrument.Recorded) bool {
	return c.Untrusted == "" && !c.Unusable && !c.LeftUnknown && c.Left == metrology.Pass && (c.Found == metrology.Pass || wasAdjusted(c))
}

func wasAdjusted(c *instrument.Recorded) bool {
	for _, p := range c.Points {
		if p.Left != nil {
			return true
		}
	}
	return false
}

func adjusts(k metrology.EventKind) bool {
	return k == metrology.Adjusted || k == metrology.Repaired || k == metrology.Reranged || k == metrology.BatteryChanged
}

// notYet is since when an instrument is out of use that is in use.
const notYet = math.MaxInt64

// hasFound: somebody looked before it was adjusted, within the hour before it
// was last used or since.
func hasFound(h instrument.History, lastUse, at int64) bool {
	for _, c := range h.Checks {
		if !c.Unusable && c.At <= at && lastUse-c.At <= metrology.AsFoundWithin.Microseconds() {
			return true
		}
	}
	return false
}
