package workflow

import (
	"errors"
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
)

// Two hundred times a thermometer fails while somebody asks whether its lot, and
// one made of it, may ship. Whoever is told yes asked before the deviation: its
// answer has the epoch before, and the hold knows of it. Whoever asked after is
// told no (design notes on performance, §5).
func TestGateRacesWithTheOpening(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	const rounds, askers = 60, 3
	name := func(what string, i int) string { return fmt.Sprint(what, "-", i) }
	var probes []instrument.Instrument
	var good []instrument.Check
	var lots []string
	var read []reading.Reading
	var made []lot.Transformation
	for i := range rounds {
		probes = append(probes, instrument.Instrument{Code: name("P", i), Kind: "thermocouple", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree})
		good = append(good, checkOf(name("P", i), march(2, 6, 0), 0))
		lots = append(lots, name("A", i), name("B", i))
		read = append(read, cooked(name("P", i), march(3, 0, 0), 72, name("A", i)))
		made = append(made, lot.Transformation{Event: "e", At: march(3, 0, 1), Input: name("A", i), Output: name("B", i), InputQuantity: kg("10"), OutputQuantity: kg("10")})
	}
	s.added(s.AddInstruments(s.ctx, s.sc, probes))
	s.record(good...)
	s.makes(lots...)
	s.added(s.AddTransformations(s.ctx, s.sc, made))
	s.reads(read...)
	yes, no := 0, 0
	for i := range rounds {
		a, b, code := name("A", i), name("B", i), name("P", i)
		answers := make([]GateAnswer, askers)
		var opened []Deviation
		var errs [askers + 1]error
		atOnce(askers+1, func(n int) {
			if n == askers {
				opened, errs[n] = s.Record(s.ctx, s.sc, Happenings{Checks: checks(checkOf(code, march(5, 6, 0), 3))})
				return
			}
			answers[n], errs[n] = s.MayShip(s.ctx, s.sc, GateQuestion{Items: []GateItem{{Lot: a}, {Lot: b}}})
		})
		s.must(errors.Join(errs[:]...))
		epoch := s.count(`select epoch from deviation_epoch where plant_id = $1`, s.sc.Plant)
		allowed := s.holdOf(opened[0], a).AllowedAt != nil && s.holdOf(opened[0], b).AllowedAt != nil
		for _, got := range answers {
			if got.Items[0].MayShip != got.Items[1].MayShip {
				t.Errorf("round %d: one half of a deviation was seen: %+v", i, got)
			}
			if got.MayShip && (got.Epoch != int64(epoch)-1 || !allowed) || !got.MayShip && got.Epoch != int64(epoch) {
				t.Errorf("round %d: may ship: %v at epoch %d of %d, the hold knows: %v", i, got.MayShip, got.Epoch, epoch, allowed)
			}
			if got.MayShip {
				yes++
			} else {
				no++
			}
		}
		s.gate(a, gateOnHold, gateQueued)
	}
	t.Logf("%d times yes, %d times no", yes, no)
	if yes == 0 || no == 0 {
		t.Errorf("%d times yes and %d times no: nothing was raced", yes, no)
	}
}

// A late edge makes a descendant of a held lot: before it is recorded the gate is
// open, after it never, and the answer has one moment.
func TestGateRacesWithLateGenealogy(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	s.trace(d)
	for i := range 40 {
		code := fmt.Sprint("late-", i)
		s.makes(code)
		var errs [3]error
		atOnce(3, func(n int) {
			switch n {
			case 0:
				_, errs[n] = s.AddTransformations(s.ctx, s.sc, []lot.Transformation{{Event: code, At: march(7, 0, 0), Input: "A", Output: code}})
			case 1:
				_, errs[n] = s.MayShip(s.ctx, s.sc, GateQuestion{Items: []GateItem{{Lot: code}}})
			case 2:
				_, errs[n] = s.RetraceDue(s.ctx)
			}
		})
		s.must(errors.Join(errs[:]...))
		if got := s.asks(GateItem{Lot: code}); !slices.Contains(got, gateMadeOfHeld) {
			t.Errorf("%s: %v", code, got)
		}
	}
	s.trace(d)
}

// Whatever happened: a lot on which a hold stands, or that was made of one, or
// of which a deviation that waits for its trace doubts an ancestor, or that
// nobody registered, never ships; and the gate is open for all others of which
// the instruments in doubt know nothing.
func TestGateProperty(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	n := 0
	rapid.Check(t, func(r *rapid.T) {
		n++
		s := openPlant(r, svc, fmt.Sprint(t.Name(), n))
		steps := rapid.SliceOfN(rapid.IntRange(0, 6), 3, 10).Draw(r, "steps")
		codes := []string{"L-0", "L-1", "L-2", "L-3", "L-4", "L-5"}
		s.makes(codes[:5]...)
		for i, step := range steps {
			from := rapid.IntRange(0, 4).Draw(r, "lot")
			to := rapid.IntRange(from+1, 5).Draw(r, "made")
			switch step {
			case 0, 1:
				s.reads(cooked([]string{"T-1", "T-2"}[step], march(3, i, from), 72, codes[from]))
			case 2:
				s.added(s.AddTransformations(s.ctx, s.sc, []lot.Transformation{{Event: fmt.Sprint(i), At: march(4, i, 0), Input: codes[from],
					Output: codes[to], InputQuantity: kg("20"), OutputQuantity: kg("20")}}))
			case 3:
				s.check("T-1", march(5, i, 0), 3)
			case 4:
				_, err := s.PlaceHold(s.ctx, s.sc, codes[from], "", fmt.Sprint("reason ", i%2))
				s.must(err)
			case 5:
				_, err := s.RetraceDue(s.ctx)
				s.must(err)
			case 6:
				s.ships(codes[from], []string{"50", "60"}[i%2], march(6, 0, 0))
			}
		}
		for _, code := range codes {
			s.gateAgrees(code)
		}
	})
}

// gateAgrees asks the gate, and works the answer out another way.
func (s *site) gateAgrees(code string) {
	s.Helper()
	got := s.asks(GateItem{Lot: code})
	must, may := false, true
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) error {
		// The lots that it goes back to, by walking down from each.
		var all []lot.ID
		var id []lot.ID
		if err := tx.SelectContext(s.ctx, &all, `select lot_id from lot where plant_id = $1 order by 1`, tx.Plant); err != nil {
			return err
		}
		if err := tx.SelectContext(s.ctx, &id, `select lot_id from lot where plant_id = $1 and code = $2 and registered`, tx.Plant, code); err != nil {
			return err
		}
		if len(id) == 0 {
			must = true
			return nil
		}
		for _, from := range all {
			_, below, err := lot.Descendants(s.ctx, tx, []lot.ID{from})
			if err != nil {
				return err
			}
			if !slices.Contains(below, id[0]) {
				continue
			}
			var against, near bool
			const q = `select exists (select from hold h join portion p using (plant_id, portion_id) where h.plant_id = $1 and p.lot_id = $2 and h.lifted_at is null)
				or exists (select from deviation_lot join deviation using (plant_id, deviation_id) where plant_id = $1 and lot_id = $2 and retrace_due is not null)`
			if err := tx.GetContext(s.ctx, &against, q, tx.Plant, from); err != nil {
				return err
			}
			const read = `select exists (select from lot_span s join deviation d using (plant_id, instrument_id) where s.plant_id = $1 and s.lot_id = $2)`
			if err := tx.GetContext(s.ctx, &near, read, tx.Plant, from); err != nil {
				return err
			}
			must, may = must || against, may && !near
		}
		where, err := lot.Positions(s.ctx, tx, id)
		must = must || !where[id[0]].InControl
		return err
	}))
	if must && len(got) == 0 {
		s.Errorf("lot %s may ship, and must not", code)
	}
	if !must && may && len(got) > 0 {
		s.Errorf("lot %s is kept for %v, and nothing stands against it", code, got)
	}
}
