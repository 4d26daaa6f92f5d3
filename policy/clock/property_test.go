package clock_test

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"lastgood/policy/clock"
)

// zones have everything that clocks do: jumps at night and at midnight, by an
// hour and by half of one, a day left out, none at all.
var zones = []string{"UTC", "America/Chicago", "Europe/Berlin", "Africa/Cairo", "America/Havana", "Australia/Lord_Howe", "Pacific/Apia", "Asia/Kathmandu"}

func anyCalendar(t *rapid.T, tt testing.TB) clock.Calendar {
	c := plant(tt, rapid.SampledFrom(zones).Draw(t, "zone"))
	for d := range c.Works {
		c.Works[d] = rapid.Bool().Draw(t, "works")
	}
	c.Works[rapid.IntRange(0, 6).Draw(t, "at least")] = true
	c.Closed, c.Open = map[clock.Date]string{}, map[clock.Date]string{}
	for _, days := range []map[clock.Date]string{c.Closed, c.Open} {
		for range rapid.IntRange(0, 20).Draw(t, "days") {
			days[clock.DateOf(anyStart(t)).Plus(0)] = "a reason"
		}
	}
	c.CutOff = time.Duration(rapid.IntRange(0, 24*60-1).Draw(t, "cut-off")) * time.Minute
	c.Closes = time.Duration(rapid.IntRange(0, 24*60-1).Draw(t, "closes")) * time.Minute
	return c
}

// anyStart draws a moment of 2011 or 2026: the first has the day that never was.
func anyStart(t *rapid.T) time.Time {
	year := rapid.SampledFrom([]int{2011, 2026}).Draw(t, "year")
	return time.Date(year, 1, 1, 0, 0, rapid.IntRange(0, 366*24*3600).Draw(t, "second"), 0, time.UTC)
}

func anyRule(t *rapid.T) clock.Rule {
	r := clock.Rule{Count: rapid.IntRange(0, 40).Draw(t, "count"),
		Unit: rapid.SampledFrom([]clock.Unit{clock.Hours, clock.CalendarDays, clock.WorkingDays, clock.Months}).Draw(t, "unit")}
	if r.Unit == clock.CalendarDays || r.Unit == clock.Months {
		r.Roll = rapid.SampledFrom([]clock.Roll{clock.Stay, clock.Next, clock.Previous}).Draw(t, "roll")
	}
	return r
}

// TestLaterStartsEndLater: nobody gains time by starting the clock earlier.
func TestLaterStartsEndLater(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		c, r, first := anyCalendar(rt, t), anyRule(rt), anyStart(rt)
		second := first.Add(time.Duration(rapid.IntRange(0, 72*3600).Draw(rt, "later")) * time.Second)
		a, err := clock.Deadline(first, r, c)
		b, err2 := clock.Deadline(second, r, c)
		if err != nil || err2 != nil {
			rt.Fatal(err, err2)
		}
		if b.At.Before(a.At) {
			rt.Fatalf("%s from %s until %s, from %s until %s", r, first.In(c.Zone), a.At, second.In(c.Zone), b.At)
		}
	})
}

// TestWorkingDaysAreCounted: between the day that something counts as of and the
// last day lie as many working days as the rule says, the last one included.
func TestWorkingDaysAreCounted(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		c, start, n := anyCalendar(rt, t), anyStart(rt), rapid.IntRange(1, 40).Draw(rt, "count")
		c.CutOff = 0
		due, err := clock.Deadline(start, working(n), c)
		if err != nil {
			rt.Fatal(err)
		}
		counted := 0
		for d := clock.DateOf(start.In(c.Zone)).Plus(1); !due.On.Before(d); d = d.Plus(1) {
			if works, _ := c.Working(d); works {
				counted++
			}
		}
		if works, _ := c.Working(due.On); counted != n || !works {
			rt.Fatalf("%d working days until %s", counted, due.On)
		}
		c.CutOff = 12 * time.Hour
		later, err := clock.Deadline(start, working(n), c)
		if err != nil || later.On.Before(due.On) {
			rt.Fatalf("with a cut-off hour until %s, without until %s, %v", later.On, due.On, err)
		}
	})
}

// TestDaysEndAsTheyAreShown: a day is over when no clock of the plant shows it
// any more, and not before, whatever the clocks do.
func TestDaysEndAsTheyAreShown(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(rt *rapid.T) {
		c, start := anyCalendar(rt, t), anyStart(rt)
		c.Closes = 0
		due, err := clock.Deadline(start, days(rapid.IntRange(0, 40).Draw(rt, "count")), c)
		if err != nil {
			rt.Fatal(err)
		}
		if on := clock.DateOf(due.At); !due.On.Before(on) {
			rt.Fatalf("at %s it is still %s", due.At, due.On)
		}
		if before := clock.DateOf(due.At.Add(-1)); due.On.Before(before) {
			rt.Fatalf("just before %s it is %s already, later than %s", due.At, before, due.On)
		}
	})
}
