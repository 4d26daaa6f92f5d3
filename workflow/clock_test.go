package workflow

import (
	"strings"
	"testing"
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/reading"
)

func seconds(n int64) *int64 {
	us := n * 1_000_000
	return &us
}

// clockOff records that a clock was wrong from the first of the month on.
func (s *site) clockOff(code string, ahead *int64, bound time.Duration) {
	s.Helper()
	s.added(s.AddClockOffsets(s.ctx, s.sc, []instrument.ClockOffset{{Instrument: code, From: march(1, 0, 0), Ahead: ahead, Bound: bound.Microseconds()}}))
}

// inRoom is a logger's reading, every half hour from one time to another.
func inRoom(code string, from, to time.Time, value float64) (list []reading.Reading) {
	for at := from; !at.After(to); at = at.Add(30 * time.Minute) {
		list = append(list, reading.Reading{Instrument: code, TakenAt: at, Value: value, Decimals: 1, Unit: unit.CelsiusScale, Limit: "chill"})
	}
	return list
}

// stood records that a lot was in the cooler, where T-1 hangs.
func (s *site) stood(code string, from, to time.Time) {
	s.Helper()
	s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: code, Location: "cooler", From: from, To: &to}}))
}

func (s *site) hangs() {
	s.Helper()
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "cooler", From: march(1, 0, 0)}}))
}

// A recorder whose clock was an hour ahead: what it wrote down at 10 o'clock it
// read at 9. The lots are judged by the true times, and both times are shown
// (design notes on the procedure, X18).
func TestReadingsOfAClockThatWasAheadAreJudgedAtTheirTrueTimes(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("warm", "cold")
	s.hangs()
	s.stood("warm", march(3, 6, 0), march(3, 9, 0))
	s.stood("cold", march(3, 12, 0), march(3, 15, 0))
	// Warm from 6 to 10, cold from then on, by true time; written down an hour later.
	s.reads(append(inRoom("T-1", march(3, 7, 0), march(3, 11, 0), 9), inRoom("T-1", march(3, 11, 30), march(3, 18, 0), 0)...)...)
	s.reads(inRoom("T-1", march(3, 0, 0), march(3, 6, 30), 0)...)
	d := s.fails("T-1", march(5, 6, 0))
	before := s.trace(d)
	s.clockOff("T-1", seconds(3600), 0)
	s.is(d, Detected, true)
	run := s.trace(d)
	for code, want := range map[string]limit.Verdict{"warm": limit.Missed, "cold": limit.Met} {
		if r := verdictOf(t, run, code); r.Verdict != want {
			t.Errorf("%s is %s, want %s: %v", code, r.Verdict, want, r.Reasons)
		}
	}
	if string(before.InputDigest) == string(run.InputDigest) {
		t.Error("the digest does not know of the clock")
	}
	if !strings.Contains(strings.Join(run.Notes, "\n"), "its clock was 1h0m0s ahead") {
		t.Errorf("the notes do not say that the clock was ahead: %q", run.Notes)
	}
	basis, err := s.Basis(s.ctx, s.sc, d.ID, "warm", "chill")
	s.must(err)
	first := basis.Readings[0]
	if first.At != march(3, 6, 0).UnixMicro() || first.Shown != march(3, 7, 0).UnixMicro() || !basis.SameEvidence {
		t.Errorf("the first reading is of %v, shown %v", time.UnixMicro(first.At).UTC(), time.UnixMicro(first.Shown).UTC())
	}
	list, err := s.Readings(s.ctx, s.sc, "T-1", reading.Place{At: march(3, 6, 59)}, march(3, 7, 0), 10)
	s.must(err)
	if len(list) != 1 || !list[0].TakenAt.Equal(march(3, 7, 0)) || list[0].ShiftedAt == nil || !list[0].ShiftedAt.Equal(march(3, 6, 0)) {
		t.Errorf("listed: %+v", list)
	}
}

// Nobody knows by how much the clock was off, but for a bound: a lot that left
// just before the room grew warm may have been in it.
func TestClockOffByAnUnknownTimeWidensStays(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("near", "far")
	s.hangs()
	s.stood("far", march(3, 1, 0), march(3, 3, 0))
	s.stood("near", march(3, 4, 0), march(3, 6, 0))
	s.reads(append(inRoom("T-1", march(3, 0, 0), march(3, 6, 0), 0), inRoom("T-1", march(3, 6, 10), march(3, 12, 10), 9)...)...)
	d := s.fails("T-1", march(5, 6, 0))
	run := s.trace(d)
	if r := verdictOf(t, run, "near"); r.Verdict != limit.Met {
		t.Fatalf("by its clock the lot had left: %s, want met", r.Verdict)
	}
	s.clockOff("T-1", nil, 15*time.Minute)
	run = s.trace(d)
	if r := verdictOf(t, run, "near"); r.Verdict != limit.Indeterminate {
		t.Errorf("the room may have been warm while the lot was there, or not: %s, want indeterminate", r.Verdict)
	}
	if r := verdictOf(t, run, "far"); r.Verdict != limit.Met {
		t.Errorf("an hour before it was cold by any clock: %s", r.Verdict)
	}
}

// Just before the last good check the instrument was good; a reading that may
// have been taken after it is in doubt.
func TestClockOffByAnUnknownTimeWidensTheWindow(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A", "B", "C")
	s.reads(cooked("T-1", march(2, 5, 50), 73, "A"), cooked("T-1", march(2, 5, 0), 73, "B"), cooked("T-1", march(3, 0, 0), 80, "C"))
	d := s.fails("T-1", march(5, 6, 0))
	s.holds(d, "C")
	s.clockOff("T-1", nil, 15*time.Minute)
	run := s.trace(d)
	if r := verdictOf(t, run, "A"); r.Verdict != limit.Indeterminate {
		t.Errorf("A is %s, want indeterminate: 73 °C less up to 3 °C, if it was after the check", r.Verdict)
	}
	for _, a := range run.Assessments {
		if a.Lot == "B" {
			t.Errorf("B was cooked before the last good check by any clock, and is %s", a.Result.Verdict)
		}
	}
	s.holds(d, "A", "C")
}

// A late reading outside the window by its own clock, and inside by the true
// time, is traced again; and what the clock wrote down after the removal, but
// took before it, is no use after it.
func TestLateReadingsAreFoundByTheirTrueTimes(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A")
	s.clockOff("T-1", seconds(7200), 0)
	d := s.fails("T-1", march(5, 6, 0))
	s.happens("T-1", march(5, 7, 0), instrument.RemovedFromUse)
	s.trace(d)
	s.reads(cooked("T-1", march(5, 8, 30), 80, "A")) // read at 6:30
	if s.now(d).RetraceDue == nil {
		t.Error("a reading that was taken in the window does not make the deviation due")
	}
	run := s.trace(d)
	if run.Until == nil || !run.Until.Equal(march(5, 7, 0)) {
		t.Errorf("the window ends at %v, want the removal", run.Until)
	}
	verdictOf(t, run, "A")
	s.holds(d, "A")
}

func TestWhatCannotBeAClockOffset(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	until := march(10, 0, 0)
	first := instrument.ClockOffset{Instrument: "T-1", From: march(5, 0, 0), Ahead: seconds(60)}
	s.added(s.AddClockOffsets(s.ctx, s.sc, []instrument.ClockOffset{first}))
	for rule, o := range map[string]instrument.ClockOffset{
		"unknown-instrument":       {Instrument: "T-9", From: march(1, 0, 0), Ahead: seconds(1)},
		"offset-or-bound":          {Instrument: "T-1", From: march(1, 0, 0)},
		"overlapping-clock-offset": {Instrument: "T-1", From: march(7, 0, 0), Ahead: seconds(1)},
		"conflict":                 {Instrument: "T-1", From: march(5, 0, 0), Ahead: seconds(61)},
	} {
		_, err := s.AddClockOffsets(s.ctx, s.sc, []instrument.ClockOffset{o})
		rows, ok := err.(fault.Rows)
		if !ok || rows[0].Rule != rule {
			t.Errorf("%+v: %v, want %s", o, err, rule)
		}
	}
	c, err := s.AddClockOffsets(s.ctx, s.sc, []instrument.ClockOffset{first})
	s.must(err)
	if c.Unchanged != 1 {
		t.Errorf("the same again: %+v", c)
	}
	first.To = &until // the clock was set right
	s.added(s.AddClockOffsets(s.ctx, s.sc, []instrument.ClockOffset{first, {Instrument: "T-1", From: until, Ahead: seconds(1)}}))
	list, err := s.ClockOffsets(s.ctx, s.sc, "T-1", 0, 10)
	s.must(err)
	if len(list) != 2 || list[0].Value.To == nil || !list[0].Value.To.Equal(until) {
		t.Errorf("recorded: %+v", list)
	}
}

// A logger that keeps whole degrees is good to half of one, whatever its display
// resolves: the step of the record enters the error, and the error only grows
// (design notes on the procedure, X28).
func TestRoundedRecordWidensTheError(t *testing.T) {
	t.Parallel()
	worst := func(display *unit.Micro, decimals ...int8) unit.CelsiusDiff {
		s := newSite(t)
		since := march(1, 0, 0)
		s.added(s.AddInstruments(s.ctx, s.sc, []instrument.Instrument{{Code: "T-3", Kind: "logger", Unit: unit.CelsiusScale,
			Tolerance: unit.PerDegree, Resolution: display, InServiceFrom: &since}}))
		s.check("T-3", march(2, 6, 0), 0)
		s.makes("A")
		for i, n := range decimals {
			r := cooked("T-3", march(3, 7, i), 74, "A") // among the points
			r.Decimals = n
			s.reads(r)
		}
		return *verdictOf(t, s.trace(s.fails("T-3", march(5, 6, 0))), "A").WorstError
	}
	tenth := micro(0.1)
	fine, tenths, whole := worst(tenth, 2), worst(tenth, 1), worst(tenth, 0)
	if fine != tenths {
		t.Errorf("more decimals than the display has make no better reading: %v K, want %v", fine, tenths)
	}
	// U = 2·√(0.1² + 0.1²/12 + d²/12), error 3 K: plain arithmetic. The display's
	// step is in the check, too. Of a display that nobody states, the record tells
	// only where it is coarse beside the tolerance.
	for d, got := range map[string]struct{ is, want unit.CelsiusDiff }{
		"0.1 K": {tenths, 3 + 0.216025}, "1 K": {whole, 3 + 0.613732}, "1 K of an unknown display": {worst(nil, 0), 3 + 0.611010}, "0.1 K of an unknown display": {worst(nil, 1), 3 + 0.2},
	} {
		if diff := got.is - got.want; diff > 1e-5 || diff < -1e-5 {
			t.Errorf("a step of %s: %v K, want %v", d, got.is, got.want)
		}
	}
	// A spreadsheet that drops zeros writes 74 among 74.5: that is no coarser.
	if mixed := worst(tenth, 1, 0); mixed != tenths {
		t.Errorf("a dropped zero: %v K, want %v", mixed, tenths)
	}
}
