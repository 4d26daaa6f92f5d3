package workflow

import (
	"math"
	"slices"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
)

// doubtOf works out what is known of an instrument's error around an opening:
// the whole of its history, under the site's rule.
func doubtOf(in instrument.Stored, h instrument.History, o opening, p sitePolicy) (*metrology.Doubt, error) {
	f := metrology.Facts{Tolerance: in.ToleranceDiff(), Rule: p.DecisionRule, Beyond: p.Beyond, UseUncertainty: inUse(in)}
	for _, c := range h.Checks {
		f.Checks = append(f.Checks, c.Check)
	}
	for _, e := range h.Events {
		f.Events = append(f.Events, e.Event)
	}
	f.Events = dropVoidRemovals(h, f.Events, o.at())
	if in.InServiceFrom != nil {
		f.InServiceFrom = in.InServiceFrom.UnixMicro()
	}
	f.Checks, f.Failed = place(f.Checks, o)
	return metrology.NewDoubt(f)
}

// place returns the checks with the index of the opening one. An adjustment
// without an as-found stands in the list as a check that found nothing.
func place(checks []metrology.Check, o opening) ([]metrology.Check, int) {
	i := slices.IndexFunc(checks, func(c metrology.Check) bool { return c.At >= o.at() })
	if o.check != nil {
		return checks, i
	}
	found := metrology.Check{At: o.event.At, Unusable: true}
	if i < 0 {
		return append(checks, found), len(checks)
	}
	return slices.Insert(checks, i, found), i
}

// dropVoidRemovals leaves out a removal from use after which the instrument was
// returned without a clear pass: whatever it read then is in doubt too.
func dropVoidRemovals(h instrument.History, events []metrology.Event, failedAt int64) []metrology.Event {
	return slices.DeleteFunc(slices.Clone(events), func(e metrology.Event) bool {
		if e.Kind != metrology.RemovedFromUse || e.At < failedAt {
			return false
		}
		for _, back := range events {
			if back.Kind == metrology.ReturnedToUse && back.At >= e.At {
				return !clearPassBetween(h, failedAt, back.At)
			}
		}
		return false
	})
}

func clearPassBetween(h instrument.History, after, until int64) bool {
	return slices.ContainsFunc(h.Checks, func(c instrument.Recorded) bool {
		return c.At >= after && c.At <= until && c.Untrusted == "" && endsDoubt(&c)
	})
}

// inUse is the standard uncertainty of a reading in use besides that of the
// error: the display's resolution, d/√12 (JCGM 100:2008, F.2.2.1). Place,
// immersion and lag are the process's own and are not known here.
func inUse(in instrument.Stored) unit.CelsiusDiff {
	if r := in.ResolutionDiff(); r != nil {
		return r.Kelvin() / unit.CelsiusDiff(math.Sqrt(12))
	}
	return 0
}

// windowFor returns the window of readings that vouch at the given
// temperatures: from the last check that was good there.
func windowFor(d *metrology.Doubt, at []unit.Celsius) (after, until int64, lastGood int) {
	after, until, lastGood = math.MaxInt64, d.Until, -1
	for _, t := range at {
		if a, _, g := d.WindowOver(t, t); a < after {
			after, lastGood = a, g
		}
	}
	return after, until, lastGood
}

// widest returns the longest window over the limits that an instrument serves;
// over the temperatures at which it is checked, if nobody knows what it serves.
func widest(d *metrology.Doubt, limits []unit.Celsius) (after, until int64, lastGood int) {
	if len(limits) == 0 {
		return d.Window()
	}
	return windowFor(d, limits)
}
