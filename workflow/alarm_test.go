package workflow

import (
	"testing"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/reading"
)

const alarms = `
limits:
  - {limit: store, kind: at_most, temperature: 5 C, hazard: listeria, monitoring: exception, applies_to: {products: [roast]}}
severities: {listeria: serious}
`

// Under a limit of which only exceptions are recorded, an alarm in one lot says
// nothing of the lots of other days that no alarm names: they are unknown.
func TestAlarmInOneLotDoesNotMissTheSilentOnes(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.adopts(alarms)
	s.reads(reading.Reading{Instrument: "T-1", TakenAt: march(3, 7, 0), Value: 9, Decimals: 1, Unit: unit.CelsiusScale, Lot: "alarmed", Limit: "store"})
	s.madeAt("silent", "roast", march(4, 8, 0))
	d := s.fails("T-1", march(5, 6, 0))
	run := s.trace(d)
	if a := assessed(t, run, "alarmed"); a.Result.Verdict != limit.Missed {
		t.Errorf("alarmed: %s, want missed", a.Result.Verdict)
	}
	if a := assessed(t, run, "silent"); a.Result.Verdict != limit.Unknown {
		t.Errorf("silent: %s (%s), want unknown", a.Result.Verdict, a.Route)
	}
}

// The level is one higher where there is no good check to reach back to: at the
// chiller. At the cook there was one.
func TestNoGoodCheckInIceMakesTheCookNoGraver(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	since := march(1, 0, 0)
	s.added(s.AddInstruments(s.ctx, s.sc, []instrument.Instrument{{Code: "T-9", Kind: "thermocouple", Unit: unit.CelsiusScale,
		Tolerance: unit.PerDegree, InServiceFrom: &since}}))
	only75 := checkOf("T-9", march(2, 6, 0), 0)
	only75.Points = only75.Points[1:]
	s.record(only75)
	chilled := cooked("T-9", march(3, 1, 0), 4, "chilled")
	chilled.Limit = "chill"
	s.reads(cooked("T-9", march(3, 0, 0), 72, "warm"), chilled, cooked("T-1", march(3, 0, 0), 72, "same"))
	run, other := s.trace(s.fails("T-9", march(5, 6, 0))), s.trace(s.fails("T-1", march(5, 6, 0)))
	if got, want := assessed(t, run, "warm"), assessed(t, other, "same"); got.Result.Verdict != want.Result.Verdict || got.Impact.Level != want.Impact.Level {
		t.Errorf("%s at level %d, want %s at %d", got.Result.Verdict, got.Impact.Level, want.Result.Verdict, want.Impact.Level)
	}
}
