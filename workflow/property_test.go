package workflow

import (
	"fmt"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	"pgregory.net/rapid"

	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// Containment never looks narrower than the trace: in any small plant every lot
// that a run assesses, and everything made of it, is held by the time that the
// check is recorded, as far as it is in control.
func TestContainmentIsNeverNarrowerThanTheTrace(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	var plants atomic.Int64
	rapid.Check(t, func(rt *rapid.T) {
		s := openPlant(rt, svc, fmt.Sprint("plant-", plants.Add(1)))
		happen(s, rt)
		opened := s.check("T-1", march(8, 0, 0), rapid.SampledFrom([]float64{-3, 1.5, 3}).Draw(rt, "error"))
		if len(opened) == 0 { // it joined a deviation that something before has opened
			opened = s.deviationsOf("T-1")
		}
		d := opened[len(opened)-1]
		before := s.held(d)
		run := s.trace(d)
		var doubted []lot.ID
		for _, a := range run.Assessments {
			doubted = append(doubted, lot.ID(a.LotID))
		}
		s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) error {
			_, all, err := lot.Descendants(s.ctx, tx, doubted)
			if err != nil {
				return err
			}
			where, err := lot.Positions(s.ctx, tx, all)
			if err != nil {
				return err
			}
			codes, err := lot.Get(s.ctx, tx, all)
			for _, id := range all {
				if where[id].InControl && !slices.Contains(before, codes[id].Code) {
					rt.Errorf("lot %s is assessed, or made of one that is, and was not held when the check was recorded: %v", codes[id].Code, before)
				}
			}
			return err
		}))
		if after := s.held(d); !slices.Equal(before, after) {
			rt.Errorf("held when recorded %v, after the run %v", before, after)
		}
		s.checkAll()
	})
}

// happen draws a small plant's week.
func happen(s *site, rt *rapid.T) {
	lots := []string{"A", "B", "C", "D", "E", "F"}
	draw := func(label string, from ...string) string { return rapid.SampledFrom(from).Draw(rt, label) }
	hour := func(label string) time.Time { return march(1, rapid.IntRange(0, 24*8).Draw(rt, label), 0) }
	for i := range rapid.IntRange(0, 3).Draw(rt, "edges") { // A before B before C: no cycles
		n := rapid.IntRange(0, len(lots)-2).Draw(rt, "input")
		m := rapid.IntRange(n+1, len(lots)-1).Draw(rt, "output")
		s.added(s.AddTransformations(s.ctx, s.sc, []lot.Transformation{{Event: fmt.Sprint(i), At: march(3, i, 0), Input: lots[n], Output: lots[m]}}))
	}
	for i := range rapid.IntRange(0, 2).Draw(rt, "stays") {
		from := hour("stay").Add(time.Duration(i) * time.Second)
		to := from.Add(time.Duration(rapid.IntRange(0, 48).Draw(rt, "hours")) * time.Hour)
		s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: draw("stays", lots...), Location: draw("place", "cooler", "store"), From: from, To: &to}}))
	}
	if rapid.Bool().Draw(rt, "mounted") {
		s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: draw("hangs", "cooler", "store"), From: hour("mounting")}}))
	}
	var list []reading.Reading
	for i := range rapid.IntRange(0, 8).Draw(rt, "readings") {
		r := cooked(draw("by", "T-1", "T-2"), hour("taken").Add(time.Duration(i)*time.Second), float64(rapid.IntRange(0, 80).Draw(rt, "value")), draw("lot", append(lots, "")...))
		r.Limit = draw("limit", "cook", "chill", "")
		r.Location = draw("where", "", "cooler", "store")
		list = append(list, r)
	}
	if len(list) > 0 {
		s.reads(list...)
	}
	if rapid.Bool().Draw(rt, "passed") {
		s.check("T-1", march(rapid.IntRange(3, 7).Draw(rt, "day"), 12, 0), 0)
	}
	if rapid.Bool().Draw(rt, "dropped") {
		s.happens("T-1", hour("dropped"), instrument.EventKind(draw("what", "dropped", "adjusted", "removed_from_use", "intermittent")))
	}
	if rapid.Bool().Draw(rt, "shipped") {
		s.makes("A")
		s.ships("A", draw("kg", "40", "100"), march(6, 0, 0))
	}
}
