package workflow

import (
	"fmt"
	"math"
	"slices"

	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/reading"
)

// doubtOf works out what is known of an instrument's error around an opening:
// the whole of its history, under the site's rule when it opened.
func doubtOf(in instrument.Stored, h instrument.History, o opening, p sitePolicy) (*metrology.Doubt, error) {
	f := accuracyOf(in, h, p)
	f.Rule = p.ruleFor(in, o)
	f.Events = inEffect(h, o.at())
	f.Checks, f.Failed, f.Late = amongChecks(f.Checks, h, o)
	return metrology.NewDoubt(f)
}

// accuracyOf is all that is known of an instrument's accuracy, without any
// opening.
func accuracyOf(in instrument.Stored, h instrument.History, p sitePolicy) metrology.Facts {
	f := metrology.Facts{Tolerance: in.ToleranceDiff(), Rule: p.DecisionRule, Beyond: p.Beyond, UseUncertainty: inUse(in)}
	for _, c := range h.Checks {
		f.Checks = append(f.Checks, c.Check)
	}
	for _, e := range h.Events {
		f.Events = append(f.Events, e.Event)
	}
	if in.InServiceFrom != nil {
		f.InServiceFrom = in.InServiceFrom.UnixMicro()
	}
	return f
}

// amongChecks returns the checks with the index of the opening one, and whether it was
// made late. An adjustment without an as-found stands in the list as a check that
// found nothing, and so does an overdue check that nobody has made yet.
func amongChecks(checks []metrology.Check, h instrument.History, o opening) (all []metrology.Check, failed int, late bool) {
	if o.overdue != nil {
		if made, inTime := settled(h, *o.overdue); made >= 0 {
			return checks, made, !inTime
		}
	}
	i := slices.IndexFunc(checks, func(c metrology.Check) bool { return c.At >= o.at() })
	if o.check != nil {
		return checks, i, false
	}
	found := metrology.Check{At: o.at(), Unusable: true}
	if i < 0 {
		return append(checks, found), len(checks), o.overdue != nil
	}
	return slices.Insert(checks, i, found), i, o.overdue != nil
}

// inEffect returns the events as they count: without a removal from use during
// which it was read all the same, and without one after which it was returned
// and had not clearly passed. What it read then is in doubt too.
func inEffect(h instrument.History, failedAt int64) []metrology.Event {
	var out []metrology.Event
	for _, e := range h.Events {
		if e.Kind == metrology.RemovedFromUse && e.At >= failedAt && (e.UsedAfter || cameBackUnchecked(h, e.At, failedAt)) {
			continue
		}
		out = append(out, e.Event)
	}
	return out
}

func cameBackUnchecked(h instrument.History, removedAt, failedAt int64) bool {
	for _, back := range h.Events {
		if back.Kind == metrology.ReturnedToUse && back.At >= removedAt {
			return !clearPassBetween(h, failedAt, back.At)
		}
	}
	return false
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

// boundUse counts the rounding of the record where it is coarser than the
// display: a logger that keeps whole degrees is good to half of one, whatever
// it showed. Where the display's own step is not stated, a record that is fine
// beside the tolerance widens nothing, and a coarse one does (half the tolerance:
// a judgement).
func (e *evidence) boundUse() (err error) {
	defer func() { e.note(e.clock.notes(e.after, e.until)...) }()
	in, step := e.coarsened(e.in, e.seen)
	if step == nil {
		return nil
	}
	d, err := doubtOf(in, e.history, e.opening, e.policy)
	if err != nil {
		return err
	}
	e.doubt = d
	e.note(fmt.Sprintf("its readings are recorded in steps of %v, coarser than its display: so much wider is the error of each", *step))
	return nil
}

// coarsened returns an instrument with the step of its record, whose readings are
// of the contexts seen, for its resolution; nil if that is no coarser.
func (e *evidence) coarsened(in instrument.Stored, seen map[int32]bool) (instrument.Stored, *unit.Diff) {
	display, step := in.ResolutionDiff(), e.recordStep(seen)
	switch {
	case step == nil, display != nil && step.Kelvin() <= display.Kelvin():
		return in, nil
	case display == nil && step.Kelvin() < in.ToleranceDiff().Kelvin()/2:
		return in, nil // nobody states a display, and what the record rounds away is small beside the tolerance
	}
	coarse := unit.ConvertDiff(step.Value, step.Scale, in.Scale(), unit.Hotter)
	in.Resolution = &coarse
	return in, step
}

func (e *evidence) note(sentences ...string) {
	e.doubt.Notes = append(slices.Clone(e.doubt.Notes), sentences...)
}

// recordStep is the coarsest step in which any part of a record was kept, whose
// readings are of the contexts seen; nil if nobody can say. A part is what one person or system recorded for one limit
// and place: 72 among 71.5 and 72.5 was kept to the tenth as they were, and a
// spreadsheet dropped the zero.
func (e *evidence) recordStep(seen map[int32]bool) *unit.Diff {
	finest := map[reading.Context]int8{}
	for id := range seen {
		c := e.contexts[id]
		decimals := c.Decimals
		c.ID, c.Decimals = 0, 0
		if had, there := finest[c]; !there || decimals > had {
			finest[c] = decimals
		}
	}
	var coarsest *unit.Diff
	for c, decimals := range finest {
		if decimals > 6 { // finer than anything is compared here
			continue
		}
		step := unit.Diff{Value: unit.Micro(math.Pow10(6 - int(decimals))), Scale: c.Scale()}
		if coarsest == nil || step.Kelvin() > coarsest.Kelvin() {
			coarsest = &step
		}
	}
	return coarsest
}

// windowFor returns the window of readings that vouch for limits: from the last
// check that was good at the limit's own temperature, and at every temperature
// beside it where an error can hide a miss and a check was ever good.
func windowFor(d *metrology.Doubt, limits ...limit.Criterion) (after, until int64, lastGood int) {
	after, until, lastGood = math.MaxInt64, d.Until, -1
	take := func(a, _ int64, good int) {
		if a < after {
			after, lastGood = a, good
		}
	}
	for _, c := range limits {
		for _, t := range c.Temperatures() {
			take(d.WindowOver(t, t))
		}
		take(d.WindowAmong(c.Span()))
	}
	return after, until, lastGood
}

// widest returns the longest window over the limits that an instrument serves;
// over the temperatures at which it is checked, if nobody knows what it serves.
func widest(d *metrology.Doubt, limits []limit.Criterion) (after, until int64, lastGood int) {
	if len(limits) == 0 {
		return d.Window()
	}
	return windowFor(d, limits...)
}
