package workflow

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
)

// A suspect window is closed by a removal from use only for as long as the
// instrument stays out. What goes back opens it again, unless one check has passed,
// as left, far enough around everything that failed: more than a limit may need.
// Whether one has is asked of the error model itself, with the return put into the
// history; nothing here knows better what ends a window.

// sameBath is how near to each other [K] two comparisons ask for one bath. A
// judgement, and no wider than what the error model allows an outer point.
const sameBath = 1

// unsettled returns the openings whose window would be open if the instrument went
// back into use now.
func unsettled(in instrument.Stored, h instrument.History, now int64, p sitePolicy) (out []opening, _ error) {
	back := asReturned(h, now)
	for _, o := range openings(h) {
		d, err := doubtOf(in, back, o, p)
		if err != nil {
			return nil, fmt.Errorf("return of %s: %w", in.Code, err)
		}
		if d.Until == math.MaxInt64 {
			out = append(out, o)
		}
	}
	return out, nil
}

// asReturned is the history with a return to use after everything else in it.
func asReturned(h instrument.History, now int64) instrument.History {
	e := instrument.RecordedEvent{Event: metrology.Event{At: after(h, now), Kind: metrology.ReturnedToUse}}
	h.Events = append(slices.Clone(h.Events), e)
	return h
}

// asPassed is the history with a check that passes at the given points, and then a
// return to use.
func asPassed(h instrument.History, now int64, points []FormPoint) instrument.History {
	c := instrument.Recorded{Found: metrology.Pass, Left: metrology.Pass, Check: metrology.Check{At: after(h, now)}}
	for _, pt := range points {
		right := pt.Expected
		c.Points = append(c.Points, metrology.Point{Kind: string(pt.Kind), Reference: metrology.Reference{True: pt.Expected, Scale: pt.Scale}, Found: &right})
	}
	h.Checks = append(slices.Clone(h.Checks), c)
	return asReturned(h, now)
}

// after is a moment not before now and after everything in the history.
func after(h instrument.History, now int64) int64 {
	for _, m := range timeline(h) {
		now = max(now, m.at()+1)
	}
	return now
}

// settle asks for the points that one check has to pass at, as left, before what
// failed may go back into use: as few as end every window that is open.
func (f *CheckForm) settle(in instrument.Stored, h instrument.History, p sitePolicy) error {
	now := f.MadeAt.UnixMicro()
	open, err := unsettled(in, h, now, p)
	if err != nil || len(open) == 0 {
		return err
	}
	more := f.whereChecked(h)
	needed := append(slices.Clone(more), f.Points...)
	// What the limits do not ask for goes first, and from the middle outwards: the
	// outer points prove what lies between them.
	for _, pt := range append(innermost(more), innermost(f.Points)...) {
		fewer := slices.DeleteFunc(slices.Clone(needed), pt.is)
		ends, err := endsAll(in, asPassed(h, now, fewer), open, p)
		if err != nil {
			return fmt.Errorf("form of %s: %w", in.Code, err)
		}
		if ends {
			needed = fewer
		}
	}
	f.needed = byTemperature(needed)
	for _, pt := range f.needed {
		if !slices.ContainsFunc(f.Points, pt.is) {
			f.Points = append(f.Points, pt)
		}
	}
	f.Points = byTemperature(f.Points)
	f.Notes = append(f.Notes, fmt.Sprintf("what was in doubt since it failed ends only with one check that passes, as left, at: %s", strings.Join(pointNames(f.needed), "; ")))
	return nil
}

// endsAll reports whether a history leaves no window open.
func endsAll(in instrument.Stored, h instrument.History, open []opening, p sitePolicy) (bool, error) {
	for _, o := range open {
		if d, err := doubtOf(in, h, o, p); err != nil || d.Until == math.MaxInt64 {
			return false, err
		}
	}
	return true, nil
}

// whereChecked is a point wherever any check of the instrument was made, besides
// those that the form asks for already.
func (f *CheckForm) whereChecked(h instrument.History) []FormPoint {
	var out []FormPoint
	for _, c := range h.Checks {
		for _, q := range c.Points {
			pt := f.pointAt(q)
			near := func(o FormPoint) bool { return math.Abs(o.celsius()-pt.celsius()) <= sameBath }
			if !slices.ContainsFunc(out, near) && !slices.ContainsFunc(f.Points, near) {
				out = append(out, pt)
			}
		}
	}
	return out
}

// pointAt is the form's point for one at which a check was made: ice and boiling
// water as the plant makes them today, and a comparison anywhere else.
func (f *CheckForm) pointAt(q metrology.Point) FormPoint {
	for _, pt := range f.fixed() {
		if string(pt.Kind) == q.Kind {
			return pt
		}
	}
	return f.comparison(degreesOn(unit.ToCelsius(q.Reference.True, q.Reference.Scale), f.Instrument.Unit))
}

func (pt FormPoint) celsius() float64 { return float64(unit.ToCelsius(pt.Expected, pt.Scale)) }

func (pt FormPoint) is(o FormPoint) bool { return pt.Kind == o.Kind && pt.Expected == o.Expected }

func (pt FormPoint) String() string { return fmt.Sprintf("%s %s (%s)", pt.Expected, pt.Scale, pt.Kind) }

func pointNames(list []FormPoint) []string {
	out := []string{}
	for _, pt := range list {
		out = append(out, pt.String())
	}
	return out
}

func byTemperature(list []FormPoint) []FormPoint {
	return slices.SortedStableFunc(slices.Values(list), func(a, b FormPoint) int { return int(a.Expected - b.Expected) })
}

// innermost puts points in order of how far they lie from the middle of all.
func innermost(list []FormPoint) []FormPoint {
	all := byTemperature(list)
	if len(all) == 0 {
		return nil
	}
	middle := all[0].Expected/2 + all[len(all)-1].Expected/2
	far := func(pt FormPoint) unit.Micro { return max(pt.Expected-middle, middle-pt.Expected) }
	return slices.SortedStableFunc(slices.Values(all), func(a, b FormPoint) int { return int(far(a) - far(b)) })
}
