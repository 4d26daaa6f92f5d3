package clock

import "time"

// Calendar is when a plant works.
type Calendar struct {
	Zone *time.Location
	// Works says on which days of the week it does, by time.Weekday.
	Works [7]bool
	// Closed are days on which it does not although the week says so, and why.
	Closed map[Date]string
	// Open are days on which it does although the week says no, and why. A day in
	// both is closed.
	Open map[Date]string
	// CutOff [since midnight by the clock on the wall] is until when something
	// counts as of its day when working days are counted. Later, or on a day
	// without work, it counts as of the next working day. 0: the day as it is.
	CutOff time.Duration
	// Closes is until when on the last day something can be done. 0: until the
	// day is over.
	Closes time.Duration
}

// Working says whether the plant works on a day, and if not, why.
func (c Calendar) Working(d Date) (bool, string) {
	if why, closed := c.Closed[d]; closed {
		return false, why
	}
	if _, open := c.Open[d]; open || c.Works[d.Weekday()] {
		return true, ""
	}
	return false, d.Weekday().String()
}

// WorkingWeek is Monday to Friday.
var WorkingWeek = [7]bool{time.Monday: true, time.Tuesday: true, time.Wednesday: true, time.Thursday: true, time.Friday: true}

// end returns the moment by which something is to be done on a day.
func (c Calendar) end(d Date) time.Time {
	if c.Closes == 0 {
		return d.Plus(1).at(0, c.Zone)
	}
	return d.at(c.Closes, c.Zone)
}

// next returns the first working day from d on, step by step.
func (c Calendar) next(d Date, step int, skip func(Date, string)) Date {
	for {
		works, why := c.Working(d)
		if works {
			return d
		}
		skip(d, why)
		d = d.Plus(step)
	}
}
