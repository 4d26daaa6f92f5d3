package workflow

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
)

// The clock of these tests stands at noon (UTC) on the 28th.
func TestChecksDue(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	days := func(n int) *int { return &n }
	on := func(day, hour int) *time.Time {
		at := march(day, hour, 0)
		return &at
	}
	register := func(code string, in instrument.Instrument) {
		in.Code, in.Unit, in.Tolerance = code, unit.CelsiusScale, unit.PerDegree
		s.added(s.AddInstruments(s.ctx, s.sc, []instrument.Instrument{in}))
	}
	register("today", instrument.Instrument{CheckEveryDays: days(1)})
	s.check("today", march(27, 7, 0), 0)
	register("late", instrument.Instrument{CheckEveryDays: days(7)})
	s.check("late", march(18, 23, 0), 0)
	register("failed", instrument.Instrument{CheckEveryDays: days(7), InServiceFrom: on(1, 0)})
	s.check("failed", march(20, 0, 0), 0)
	s.check("failed", march(26, 0, 0), 3)
	register("never", instrument.Instrument{CheckEveryDays: days(7), InServiceFrom: on(26, 0)})
	register("unknown", instrument.Instrument{CheckEveryDays: days(7)})
	register("not yet", instrument.Instrument{CheckEveryDays: days(7), InServiceFrom: on(29, 0)})
	register("quality", instrument.Instrument{CheckEveryDays: days(7), Use: instrument.Quality})
	register("whenever", instrument.Instrument{})
	register("away", instrument.Instrument{CheckEveryDays: days(7)})
	s.happens("away", march(20, 0, 0), instrument.RemovedFromUse)
	register("away and read", instrument.Instrument{CheckEveryDays: days(7)})
	s.check("away and read", march(19, 0, 0), 0)
	s.happens("away and read", march(20, 0, 0), instrument.RemovedFromUse)
	s.reads(cooked("away and read", march(21, 0, 0), 72, "A"))
	register("back", instrument.Instrument{CheckEveryDays: days(30)})
	s.check("back", march(19, 0, 0), 0)
	s.happens("back", march(20, 0, 0), instrument.RemovedFromUse)
	s.happens("back", march(21, 0, 0), instrument.ReturnedToUse)

	list, err := s.ChecksDue(s.ctx, s.sc)
	s.must(err)
	type line struct {
		code, on string
		late     int
		overdue  bool
	}
	var got []line
	for _, d := range list {
		l := line{d.Instrument, "", d.OverdueDays, d.Overdue}
		if d.On != nil {
			l.on = d.On.Format(time.DateOnly)
		}
		got = append(got, l)
	}
	want := []line{{"unknown", "", 0, true}, {"late", "2025-03-25", 3, true}, {"away and read", "2025-03-26", 2, true},
		{"never", "2025-03-26", 2, true}, {"failed", "2025-03-27", 1, true}, {"today", "2025-03-28", 0, false}, {"back", "2025-04-18", 0, false}}
	if diff := cmp.Diff(want, got, cmp.AllowUnexported(line{})); diff != "" {
		t.Error(diff)
	}
	for _, d := range list {
		if d.Instrument == "failed" && (!d.LastAt.Equal(march(26, 0, 0)) || !d.LastGoodAt.Equal(march(20, 0, 0)) || d.LastFound != "fail") {
			t.Errorf("%+v", d)
		}
	}
}

// A check whose reference fell counts no more: the instrument is due since the
// one before.
func TestACheckThatLostItsWorthIsNoGoodCheck(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	week := 7
	s.added(s.AddInstruments(s.ctx, s.sc, []instrument.Instrument{{Code: "T-3", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree, CheckEveryDays: &week}}))
	s.check("T-3", march(2, 7, 0), 0)
	s.record(against(checkOf("T-3", march(27, 0, 0), 0), "R-1"))
	due := func() Due {
		list, err := s.ChecksDue(s.ctx, s.sc)
		s.must(err)
		return list[0]
	}
	if d := due(); d.Overdue || !d.LastGoodAt.Equal(march(27, 0, 0)) {
		t.Errorf("%+v", d)
	}
	s.check("R-1", march(28, 0, 0), 3)
	if d := due(); d.OverdueDays != 19 || !d.LastGoodAt.Equal(march(2, 7, 0)) { // due on the 9th, today is the 28th
		t.Errorf("%+v", d)
	}
}

// Days are the plant's own: eleven in the evening in UTC is the next day in
// Auckland, and the day on which the clocks change there is a day.
func TestDueDaysAreThePlantsOwn(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	days := 7
	good := time.Date(2025, 3, 31, 23, 0, 0, 0, time.UTC) // the clocks go back on 6 April 2025
	for _, c := range []struct {
		now  time.Time
		late int
	}{
		{time.Date(2025, 4, 8, 23, 59, 0, 0, zone), 0},
		{time.Date(2025, 4, 9, 0, 1, 0, 0, zone), 1},
		{time.Date(2025, 9, 29, 12, 0, 0, 0, zone), 174}, // 22 + 31 + 30 + 31 + 31 + 29
	} {
		d := Due{EveryDays: &days, LastGoodAt: &good}
		d.settle(c.now)
		if got := d.On.Format(time.DateOnly); got != "2025-04-08" || d.OverdueDays != c.late || d.Overdue != (c.late > 0) {
			t.Errorf("at %v: due on %s, %d days late", c.now, got, d.OverdueDays)
		}
	}
}
