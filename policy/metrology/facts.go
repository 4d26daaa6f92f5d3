package metrology

import (
	"errors"
	"fmt"
	"time"

	"lastgood/policy/unit"
)

// EventKind is something that happened to an instrument.
type EventKind string

// The kinds of event, in the words of the exchange format.
const (
	RemovedFromUse EventKind = "removed_from_use"
	ReturnedToUse  EventKind = "returned_to_use"
	Adjusted       EventKind = "adjusted"
	Repaired       EventKind = "repaired"
	Dropped        EventKind = "dropped"
	BatteryChanged EventKind = "battery_changed"
	Moved          EventKind = "moved"
	Reranged       EventKind = "reranged"
	Intermittent   EventKind = "intermittent"
	OtherEvent     EventKind = "other"
)

// Event is one thing that happened to an instrument.
type Event struct {
	At   int64 // µs since 1970-01-01T00:00:00Z
	Kind EventKind
	Note string
}

// Facts is all that is known of one instrument around a failed check.
type Facts struct {
	Checks []Check // all known, ascending in time
	Events []Event // ascending in time
	// Failed is the index of the check that opened the deviation: failed,
	// inconclusive or unusable.
	Failed int
	// Late says that this check opened the deviation because it was made too late,
	// or not yet: then it is one that found nothing. Whatever it says, it clears
	// nothing before it: also where it passed, the error lay in the bracket between
	// the last good check and this one.
	Late      bool
	Tolerance unit.Diff
	Rule      Rule
	// UseUncertainty is the standard uncertainty that a reading in use has
	// besides the error's own: display, place, immersion, lag.
	UseUncertainty unit.CelsiusDiff
	InServiceFrom  int64 // 0: unknown
	// Beyond is how far beyond its points a check still says something; zero
	// means not at all. DefaultBeyond is the usual distance.
	Beyond unit.CelsiusDiff
}

// DefaultBeyond is how far beyond its points a check is taken to say something
// (design §4; a judgement).
const DefaultBeyond unit.CelsiusDiff = 10

// AsFoundWithin is how long before an adjustment, a repair, a re-ranging or a
// battery change a check may have been done to count as its as-found (common
// practice: the technician checks, then mends, in one visit).
const AsFoundWithin = time.Hour

// verify refuses facts that contradict themselves.
func (f *Facts) verify() error {
	if f.Failed < 0 || f.Failed >= len(f.Checks) {
		return fmt.Errorf("check %d opened the deviation and there are %d checks", f.Failed, len(f.Checks))
	}
	if f.Tolerance.Value <= 0 {
		return errors.New("the instrument has no tolerance")
	}
	if !(f.Beyond >= 0 && f.Beyond < 1000) {
		return fmt.Errorf("%g K is no distance beyond the points", float64(f.Beyond))
	}
	if !(f.UseUncertainty >= 0) {
		return fmt.Errorf("%g K is no uncertainty", float64(f.UseUncertainty))
	}
	for i := 1; i < len(f.Checks); i++ {
		if f.Checks[i].At < f.Checks[i-1].At {
			return fmt.Errorf("check %d is before check %d: put them in order of time", i+1, i)
		}
	}
	for i := 1; i < len(f.Events); i++ {
		if f.Events[i].At < f.Events[i-1].At {
			return fmt.Errorf("event %d is before event %d: put them in order of time", i+1, i)
		}
	}
	return nil
}

// start is where a window begins that no good check bounds.
func (f *Facts) start() int64 {
	if f.InServiceFrom != 0 {
		return f.InServiceFrom
	}
	return beginning
}
