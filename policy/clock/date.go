package clock

import "time"

// Date is a day of the calendar, wherever that is.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// DateOf returns the day of a moment in the moment's own zone.
func DateOf(t time.Time) Date {
	y, m, d := t.Date()
	return Date{y, m, d}
}

// Plus returns the day n days later.
func (d Date) Plus(n int) Date { return DateOf(d.noon().AddDate(0, 0, n)) }

// PlusMonths returns the same day n months later, or the last of that month
// where it has no such day.
func (d Date) PlusMonths(n int) Date {
	last := DateOf(time.Date(d.Year, d.Month+time.Month(n)+1, 0, 12, 0, 0, 0, time.UTC))
	last.Day = min(d.Day, last.Day)
	return last
}

// Weekday returns the day of the week.
func (d Date) Weekday() time.Weekday { return d.noon().Weekday() }

// Before says whether d comes before other.
func (d Date) Before(other Date) bool { return d.noon().Before(other.noon()) }

// String writes the day for people, with the day of the week.
func (d Date) String() string { return d.noon().Format("Mon 2006-01-02") }

func (d Date) noon() time.Time { return time.Date(d.Year, d.Month, d.Day, 12, 0, 0, 0, time.UTC) }

// at returns the first moment at which the clocks of a zone show wall, a time
// since midnight, on a day. Where they jump over it, that is the moment of the
// jump; where they show it twice, the first: a deadline must not move later
// because the clocks were changed.
func (d Date) at(wall time.Duration, zone *time.Location) time.Time {
	shown := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, int(wall), time.UTC)
	t := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, int(wall), zone)
	from, to := t.ZoneBounds()
	switch got := asShown(t); {
	case got.After(shown): // the standard library may take either side of a jump
		return from
	case got.Before(shown):
		return to
	}
	if from.IsZero() {
		return t
	}
	_, before := from.Add(-1).Zone()
	if earlier := shown.Add(-time.Duration(before) * time.Second).In(zone); earlier.Before(from) {
		return earlier
	}
	return t
}

// asShown is what the clocks show at a moment, as if it were UTC.
func asShown(t time.Time) time.Time {
	_, offset := t.Zone()
	return t.Add(time.Duration(offset) * time.Second).UTC()
}
