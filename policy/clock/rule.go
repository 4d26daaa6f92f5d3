package clock

import (
	"errors"
	"fmt"
	"time"
)

// Unit is what a rule counts.
type Unit string

// The units. Elapsed hours take no notice of nights, weekends and the changing
// of clocks; days and months are over when the plant's day is.
const (
	Hours        Unit = "h"
	CalendarDays Unit = "calendar days"
	WorkingDays  Unit = "working days"
	Months       Unit = "months"
)

// Roll is what becomes of a last day on which nobody works.
type Roll string

// The ways.
const (
	Stay     Roll = ""         // it stays as it is
	Next     Roll = "next"     // the next working day
	Previous Roll = "previous" // the working day before: for what must not be late
)

// Rule is how long something may take. The day that the clock starts on does
// not count: day 1 is the one after.
type Rule struct {
	Count int // 0: at once, or on the day itself
	Unit  Unit
	Roll  Roll // of calendar days and months
}

// String is the rule in words.
func (r Rule) String() string {
	unit := string(r.Unit)
	if r.Count == 1 && r.Unit != Hours {
		unit = unit[:len(unit)-1]
	}
	text := fmt.Sprintf("%d %s", r.Count, unit)
	if r.Roll != Stay {
		text += ", else the " + string(r.Roll) + " working day"
	}
	return text
}

// longest keeps a slip of the keyboard from becoming a century of counting.
const longest = 100_000

// check says what is wrong with a rule under a calendar.
func (r Rule) check(c Calendar) error {
	counted := r.Unit == WorkingDays || r.Roll != Stay
	switch {
	case c.Zone == nil:
		return errors.New("the calendar has no time zone")
	case r.Count < 0 || r.Count > longest:
		return fmt.Errorf("%d is not a count between 0 and %d", r.Count, longest)
	case r.Unit != Hours && r.Unit != CalendarDays && r.Unit != WorkingDays && r.Unit != Months:
		return fmt.Errorf("%q is no unit of a deadline", r.Unit)
	case r.Roll != Stay && r.Roll != Next && r.Roll != Previous:
		return fmt.Errorf("%q is no way to move a last day", r.Roll)
	case r.Roll != Stay && (r.Unit == Hours || r.Unit == WorkingDays):
		return fmt.Errorf("%s never end on a day without work, or do so on purpose", r.Unit)
	case counted && c.Works == [7]bool{}:
		return errors.New("the calendar has no working day in its week")
	case c.CutOff < 0 || c.CutOff >= 24*time.Hour || c.Closes < 0 || c.Closes >= 24*time.Hour:
		return errors.New("a cut-off hour lies between 00:00 and 24:00")
	}
	return nil
}
