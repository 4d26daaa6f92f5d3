package workflow

import (
	"testing"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/reading"
)

// air is a reading of a place, that names no lot.
func air(code string, at time.Time, place string) reading.Reading {
	return reading.Reading{Instrument: code, TakenAt: at, Value: 4, Decimals: 1, Unit: unit.CelsiusScale, Location: place, Limit: "chill"}
}

// hung records that T-2 hangs in a place from the 3rd on.
func (s *site) hung(place string) {
	s.Helper()
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-2", Location: place, From: march(3, 0, 0)}}))
}

// stood opens a deviation of T-1, which hung in the cooler while lot "hot" stayed
// there from the 3rd to the 4th, and was taken out of use on the 5th. T-2 was last
// checked, against R-1, on the 4th. saw is what T-2 has to do with it. The deviation
// is traced and due for nothing.
func stood(t *testing.T, svc *Service, saw func(*site)) (*site, Deviation) {
	t.Helper()
	s := siteOn(t, svc)
	until := march(4, 12, 0)
	s.makes("hot", "warm", "cold")
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "cooler", From: march(3, 0, 0)}}))
	s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "hot", Location: "cooler", From: march(3, 9, 0), To: &until},
		{Lot: "warm", Location: "cooler", From: march(4, 18, 0)}}))
	s.reads(cooked("T-1", march(3, 7, 0), 80, "hot"))
	s.record(against(checkOf("T-2", march(4, 0, 0), 0), "R-1"))
	saw(s)
	d := s.fails("T-1", march(5, 6, 0))
	s.happens("T-1", march(5, 7, 0), instrument.RemovedFromUse)
	s.trace(d)
	s.is(d, Detected, false)
	return s, d
}

// How good a second instrument was, how its clock went and where it hung decides
// whether it vouches for a lot in doubt: whatever is said of it later makes the
// deviation due, however it saw the lot. What another instrument did that saw none
// of them does not.
func TestWhatIsSaidOfAWitnessIsTracedAgain(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	saw := map[string]struct {
		does func(*site)
		due  bool
	}{
		"read the lot":           {func(s *site) { s.reads(cooked("T-2", march(3, 7, 1), 80, "hot")) }, true},
		"read its place":         {func(s *site) { s.reads(air("T-2", march(3, 10, 0), "cooler")) }, true},
		"hung there":             {func(s *site) { s.hung("cooler") }, true},
		"read another lot":       {func(s *site) { s.reads(cooked("T-2", march(3, 7, 1), 80, "cold")) }, false},
		"read another place":     {func(s *site) { s.reads(air("T-2", march(3, 10, 0), "tank")) }, false},
		"hung in another":        {func(s *site) { s.hung("tank") }, false},
		"read there before":      {func(s *site) { s.reads(air("T-2", march(3, 6, 0), "cooler")) }, false},
		"read there in between":  {func(s *site) { s.reads(air("T-2", march(4, 15, 0), "cooler")) }, false},
		"read there by its hour": {func(s *site) { s.clockOff("T-2", nil, 4*time.Hour); s.reads(air("T-2", march(3, 6, 0), "cooler")) }, true},
	}
	for kind, said := range map[string]func(*site){
		"clock offset": func(s *site) {
			s.added(s.AddClockOffsets(s.ctx, s.sc, []instrument.ClockOffset{{Instrument: "T-2", From: march(20, 0, 0), Ahead: seconds(60)}}))
		},
		"failed check": func(s *site) { s.check("T-2", march(4, 6, 0), 3) },
		"passed check": func(s *site) { s.check("T-2", march(4, 6, 0), 0.1) },
		"event":        func(s *site) { s.happens("T-2", march(4, 6, 0), instrument.Dropped) },
		"mounting": func(s *site) {
			s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-2", Location: "store", From: march(6, 0, 0)}}))
		},
		"certificate of its reference": func(s *site) { s.corrected("C-1", march(2, 12, 0), march(20, 0, 0), 0.05) },
		"fall of its reference":        func(s *site) { s.check("R-1", march(6, 0, 0), 3); s.confirmAll() },
	} {
		for way, c := range saw {
			if way == "read there by its hour" && kind == "clock offset" {
				continue // its clock is told already
			}
			t.Run(kind+" of one that "+way, func(t *testing.T) {
				t.Parallel()
				s, d := stood(t, svc, c.does)
				said(s)
				s.is(d, Detected, c.due)
			})
		}
	}
}

// A mounting that turns out to have ended before a lot came takes a witness away.
func TestEndOfAWitnessesMountingIsTracedAgain(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	s, d := stood(t, svc, func(s *site) { s.hung("cooler") })
	ended := march(3, 1, 0)
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-2", Location: "cooler", From: march(3, 0, 0), To: &ended}}))
	s.is(d, Detected, true)
}

// A late reading of a place concerns the lots in doubt that were there then, as
// far as the window reaches; a logger that goes on concerns nobody.
func TestLateReadingOfAPlaceByAWitness(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	for name, c := range map[string]struct {
		read reading.Reading
		hung string
		due  bool
	}{
		"while the lot was there":        {air("T-2", march(4, 0, 0), "cooler"), "", true},
		"by where it hung":               {air("T-2", march(4, 0, 0), ""), "cooler", true},
		"before the lot came":            {air("T-2", march(3, 8, 0), "cooler"), "", false},
		"between two lots":               {air("T-2", march(4, 15, 0), "cooler"), "", false},
		"elsewhere":                      {air("T-2", march(4, 0, 0), "tank"), "", false},
		"by where it hung elsewhere":     {air("T-2", march(4, 0, 0), ""), "tank", false},
		"of a lot that is still there":   {air("T-2", march(5, 0, 0), "cooler"), "", true},
		"after the window, lot or no":    {air("T-2", march(7, 0, 0), "cooler"), "", false},
		"elsewhere, though it hung here": {air("T-2", march(7, 0, 0), "tank"), "cooler", false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s, d := stood(t, svc, func(s *site) {
				if c.hung != "" {
					s.hung(c.hung)
				}
			})
			s.reads(c.read)
			s.is(d, Detected, c.due)
		})
	}
}
