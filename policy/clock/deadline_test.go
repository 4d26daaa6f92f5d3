package clock_test

import (
	"strings"
	"testing"
	"time"

	"lastgood/policy/clock"
)

// plant is an invented calendar: closed on four days, with one Saturday worked.
func plant(t testing.TB, zone string) clock.Calendar {
	t.Helper()
	z, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	return clock.Calendar{Zone: z, Works: clock.WorkingWeek,
		Closed: map[clock.Date]string{{2026, 11, 26}: "fourth Thursday", {2026, 12, 25}: "winter holiday", {2026, 12, 24}: "winter holiday", {2027, 1, 1}: "New Year"},
		Open:   map[clock.Date]string{{2026, 12, 19}: "worked for the 24th"}}
}

func moment(t testing.TB, text string) time.Time {
	t.Helper()
	m, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func hours(n int) clock.Rule   { return clock.Rule{Count: n, Unit: clock.Hours} }
func days(n int) clock.Rule    { return clock.Rule{Count: n, Unit: clock.CalendarDays} }
func working(n int) clock.Rule { return clock.Rule{Count: n, Unit: clock.WorkingDays} }
func months(n int) clock.Rule  { return clock.Rule{Count: n, Unit: clock.Months} }

func TestDeadline(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		why, zone, start string
		rule             clock.Rule
		cutOff, closes   time.Duration
		want             string
	}{
		{"an hour is missing", "America/Chicago", "2026-03-08T01:30:00-06:00", hours(4), 0, 0, "2026-03-08T06:30:00-05:00"},
		{"an hour comes twice", "America/Chicago", "2026-11-01T00:30:00-05:00", hours(4), 0, 0, "2026-11-01T03:30:00-06:00"},
		{"hours do not rest", "America/Chicago", "2026-12-24T22:00:00-06:00", hours(24), 0, 0, "2026-12-25T22:00:00-06:00"},
		{"hours over the year", "Europe/Berlin", "2026-12-31T20:00:00+01:00", hours(24), 0, 0, "2027-01-01T20:00:00+01:00"},
		{"a day of 23 h is a day", "Europe/Berlin", "2026-03-28T10:00:00+01:00", days(1), 0, 0, "2026-03-30T00:00:00+02:00"},
		{"15 days", "Europe/Berlin", "2026-10-20T10:00:00+02:00", days(15), 0, 0, "2026-11-05T00:00:00+01:00"},
		{"the start is a day there, not here", "Asia/Tokyo", "2026-11-19T20:00:00Z", days(1), 0, 0, "2026-11-22T00:00:00+09:00"},
		{"next business day over a weekend", "America/Chicago", "2026-11-20T10:00:00-06:00", working(1), 0, 0, "2026-11-24T00:00:00-06:00"},
		{"on a Saturday", "America/Chicago", "2026-11-21T10:00:00-06:00", working(1), 0, 0, "2026-11-24T00:00:00-06:00"},
		{"over the holidays", "America/Chicago", "2026-12-23T10:00:00-06:00", working(1), 0, 0, "2026-12-29T00:00:00-06:00"},
		{"over the year", "America/Chicago", "2026-12-31T10:00:00-06:00", working(1), 0, 0, "2027-01-05T00:00:00-06:00"},
		{"a Saturday that is worked", "America/Chicago", "2026-12-18T10:00:00-06:00", working(1), 0, 0, "2026-12-20T00:00:00-06:00"},
		{"until the plant closes", "America/Chicago", "2026-11-20T10:00:00-06:00", working(1), 0, 17 * time.Hour, "2026-11-23T17:00:00-06:00"},
		{"at the cut-off hour", "America/Chicago", "2026-11-20T15:00:00-06:00", working(1), 15 * time.Hour, 0, "2026-11-24T00:00:00-06:00"},
		{"after the cut-off hour", "America/Chicago", "2026-11-20T15:00:01-06:00", working(1), 15 * time.Hour, 0, "2026-11-25T00:00:00-06:00"},
		{"with a cut-off hour, on a day of rest", "America/Chicago", "2026-11-21T09:00:00-06:00", working(1), 15 * time.Hour, 0, "2026-11-25T00:00:00-06:00"},
		{"today", "America/Chicago", "2026-11-20T10:00:00-06:00", working(0), 0, 17 * time.Hour, "2026-11-20T17:00:00-06:00"},
		{"today, at rest", "America/Chicago", "2026-11-21T10:00:00-06:00", working(0), 0, 17 * time.Hour, "2026-11-23T17:00:00-06:00"},
		{"a month without the day", "Europe/Berlin", "2027-01-31T10:00:00+01:00", months(1), 0, 0, "2027-03-01T00:00:00+01:00"},
		{"a leap day", "Europe/Berlin", "2028-02-29T10:00:00+01:00", months(12), 0, 0, "2029-03-01T00:00:00+01:00"},
		{"on a Sunday, else next", "Europe/Berlin", "2026-11-15T10:00:00+01:00", clock.Rule{Count: 7, Unit: clock.CalendarDays, Roll: clock.Next}, 0, 0, "2026-11-24T00:00:00+01:00"},
		{"on a Sunday, else before", "Europe/Berlin", "2026-11-15T10:00:00+01:00", clock.Rule{Count: 7, Unit: clock.CalendarDays, Roll: clock.Previous}, 0, 0, "2026-11-21T00:00:00+01:00"},
		{"closes in the hour that is missing", "America/Chicago", "2026-03-07T10:00:00-06:00", days(1), 0, 150 * time.Minute, "2026-03-08T03:00:00-05:00"},
		{"closes in the hour that comes twice", "America/Chicago", "2026-10-31T10:00:00-05:00", days(1), 0, 90 * time.Minute, "2026-11-01T01:30:00-05:00"},
		{"midnight is missing", "Africa/Cairo", "2024-04-24T10:00:00+02:00", days(1), 0, 0, "2024-04-26T01:00:00+03:00"},              // tz database: clocks went from 00:00 to 01:00
		{"midnight comes twice", "America/Havana", "2026-10-31T10:00:00-04:00", days(0), 0, 0, "2026-11-01T00:00:00-04:00"},           // tz database: clocks go from 01:00 to 00:00
		{"a day that never was", "Pacific/Apia", "2011-12-28T10:00:00-10:00", days(1), 0, 0, "2011-12-31T00:00:00+14:00"},             // tz database: there was no 30th
		{"an offset that is no whole hour", "Asia/Kathmandu", "2026-11-19T10:00:00Z", days(1), 0, 0, "2026-11-21T00:00:00+05:45"},     // tz database
		{"a change by half an hour", "Australia/Lord_Howe", "2026-10-03T23:00:00+10:30", hours(4), 0, 0, "2026-10-04T03:30:00+11:00"}, // tz database
	} {
		cal := plant(t, c.zone)
		cal.CutOff, cal.Closes = c.cutOff, c.closes
		got, err := clock.Deadline(moment(t, c.start), c.rule, cal)
		if err != nil || got.At.Format(time.RFC3339) != c.want {
			t.Errorf("%s: %s from %s is until %s, %v; want %s\n%s", c.why, c.rule, c.start, got.At.Format(time.RFC3339), err, c.want, strings.Join(got.Reasons, "\n"))
		}
	}
}

func TestReasons(t *testing.T) {
	t.Parallel()
	cal := plant(t, "America/Chicago")
	got, _ := clock.Deadline(moment(t, "2026-11-19T10:00:00-06:00"), working(7), cal)
	want := "7 working days from Thu 2026-11-19T10:00:00-06:00\nThu 2026-11-26 does not count: fourth Thursday\n" +
		"the last day is Tue 2026-12-01, until 2026-12-02T00:00:00-06:00"
	if text := strings.Join(got.Reasons, "\n"); text != want {
		t.Errorf("%s", text)
	}
	if got.On != (clock.Date{2026, 12, 1}) { // design notes on the procedure, §11
		t.Errorf("on %s", got.On)
	}
	got, _ = clock.Deadline(moment(t, "2026-10-31T15:00:00-05:00"), hours(24), cal)
	want = "24 h from Sat 2026-10-31T15:00:00-05:00\nthe clocks change by -1h0m0s in between; elapsed hours do not\nuntil 2026-11-01T14:00:00-06:00"
	if text := strings.Join(got.Reasons, "\n"); text != want {
		t.Errorf("%s", text)
	}
	cal.CutOff = 15 * time.Hour
	got, _ = clock.Deadline(moment(t, "2026-11-25T16:00:00-06:00"), working(1), cal)
	want = "1 working day from Wed 2026-11-25T16:00:00-06:00\nit is after the cut-off hour of Wed 2026-11-25\n" +
		"Thu 2026-11-26 does not count: fourth Thursday\nit counts as of Fri 2026-11-27\nthe last day is Mon 2026-11-30, until 2026-12-01T00:00:00-06:00"
	if text := strings.Join(got.Reasons, "\n"); text != want {
		t.Errorf("%s", text)
	}
}

func TestRefused(t *testing.T) {
	t.Parallel()
	whole := plant(t, "UTC")
	for want, c := range map[string]struct {
		rule   clock.Rule
		change func(*clock.Calendar)
	}{
		"no time zone":                     {hours(1), func(c *clock.Calendar) { c.Zone = nil }},
		"no working day":                   {working(1), func(c *clock.Calendar) { c.Works = [7]bool{} }},
		"-1 is not a count":                {hours(-1), nil},
		"100001 is not a count":            {days(100001), nil},
		`"fortnights" is no unit`:          {clock.Rule{Count: 1, Unit: "fortnights"}, nil},
		`"up" is no way`:                   {clock.Rule{Count: 1, Unit: clock.Months, Roll: "up"}, nil},
		"h never end on a day":             {clock.Rule{Count: 1, Unit: clock.Hours, Roll: clock.Next}, nil},
		"between 00:00 and 24:00":          {working(1), func(c *clock.Calendar) { c.CutOff = 24 * time.Hour }},
		"lies between 00:00 and 24:00":     {days(1), func(c *clock.Calendar) { c.Closes = -1 }},
		"has no working day in its week":   {clock.Rule{Count: 1, Unit: clock.Months, Roll: clock.Previous}, func(c *clock.Calendar) { c.Works = [7]bool{} }},
		"working days never end on a day ": {clock.Rule{Count: 1, Unit: clock.WorkingDays, Roll: clock.Next}, nil},
	} {
		cal := whole
		if c.change != nil {
			c.change(&cal)
		}
		if got, err := clock.Deadline(moment(t, "2026-11-19T10:00:00Z"), c.rule, cal); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, %v", want, got, err)
		}
	}
}
