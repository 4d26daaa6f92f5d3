package clock

import (
	"fmt"
	"time"
)

// Due is a deadline.
type Due struct {
	At      time.Time // until then, in the plant's zone; the end of a day is the first moment of the next
	On      Date      // the last day
	Reasons []string  // how it was counted, in words
}

// Deadline returns until when something is to be done whose clock started at a
// moment. A later start never gives an earlier deadline.
func Deadline(start time.Time, r Rule, c Calendar) (Due, error) {
	if err := r.check(c); err != nil {
		return Due{}, err
	}
	start = start.In(c.Zone)
	due := Due{}
	due.say("%s from %s", r, start.Format("Mon "+time.RFC3339))
	if r.Unit == Hours {
		due.elapsed(start, r.Count)
		return due, nil
	}
	switch day := DateOf(start); r.Unit {
	case CalendarDays:
		due.On = day.Plus(r.Count)
	case Months:
		due.On = day.PlusMonths(r.Count)
	case WorkingDays:
		due.working(start, r.Count, c)
	}
	switch r.Roll {
	case Next:
		due.On = c.next(due.On, 1, due.skip)
	case Previous:
		due.On = c.next(due.On, -1, due.skip)
	}
	due.At = c.end(due.On)
	due.say("the last day is %s, until %s", due.On, due.At.Format(time.RFC3339))
	return due, nil
}

func (d *Due) say(format string, args ...any) {
	d.Reasons = append(d.Reasons, fmt.Sprintf(format, args...))
}

func (d *Due) skip(day Date, why string) {
	if why != day.Weekday().String() { // of the weekly rest nobody needs a list
		d.say("%s does not count: %s", day, why)
	}
}

func (d *Due) elapsed(start time.Time, hours int) {
	d.At = start.Add(time.Duration(hours) * time.Hour)
	d.On = DateOf(d.At)
	_, was := start.Zone()
	if _, is := d.At.Zone(); is != was {
		d.say("the clocks change by %v in between; elapsed hours do not", time.Duration(is-was)*time.Second)
	}
	d.say("until %s", d.At.Format(time.RFC3339))
}

// working counts working days.
func (d *Due) working(start time.Time, count int, c Calendar) {
	d.On = DateOf(start)
	if c.CutOff != 0 {
		if start.After(d.On.at(c.CutOff, c.Zone)) {
			d.say("it is after the cut-off hour of %s", d.On)
			d.On = d.On.Plus(1)
		}
		if first := c.next(d.On, 1, d.skip); first != DateOf(start) {
			d.say("it counts as of %s", first)
			d.On = first
		}
	}
	if count == 0 {
		d.On = c.next(d.On, 1, d.skip)
	}
	for range count {
		d.On = c.next(d.On.Plus(1), 1, d.skip)
	}
}
