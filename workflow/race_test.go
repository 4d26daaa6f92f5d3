package workflow

import (
	"errors"
	"fmt"
	"strconv"
	"sync"
	"testing"
	"time"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/reading"
)

// atOnce runs f n times at the same time.
func atOnce(n int, f func(i int)) {
	var ready, done sync.WaitGroup
	start := make(chan struct{})
	ready.Add(n)
	for i := range n {
		done.Go(func() {
			ready.Done()
			<-start
			f(i)
		})
	}
	ready.Wait()
	close(start)
	done.Wait()
}

// The same failed check, sent by fifty at once, opens one deviation.
func TestOneDeviationForOneCheck(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	for name, key := range map[string]func(int) string{
		"one key":    func(int) string { return "k" },
		"fifty keys": strconv.Itoa,
		"no key":     func(int) string { return "" },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := siteOn(t, svc)
			s.reads(cooked("T-1", march(3, 0, 0), 72, "A"))
			var mu sync.Mutex
			answers := map[int]int{}
			atOnce(50, func(i int) {
				sc := s.sc
				sc.IdemKey = key(i)
				opened, err := s.Record(s.ctx, sc, Happenings{Checks: checks(checkOf("T-1", march(5, 6, 0), 3))})
				if err != nil {
					t.Error(err)
				}
				mu.Lock()
				defer mu.Unlock()
				answers[len(opened)]++
			})
			if n := s.count(`select count(*) from deviation`); n != 1 {
				t.Errorf("%d deviations", n)
			}
			s.holds(Deviation{ID: s.deviationsOf("T-1")[0].ID}, "A")
			// The same key is given the same answer; another key is told that it opened none.
			want := map[int]int{0: 49, 1: 1}
			if name == "one key" {
				want = map[int]int{1: 50}
			}
			if fmt.Sprint(answers) != fmt.Sprint(want) {
				t.Errorf("deviations told: %v, want %v", answers, want)
			}
		})
	}
}

// Two instruments that vouched for one lot fail at once: both hold it.
func TestTwoChecksForOneLot(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.reads(cooked("T-1", march(3, 0, 0), 72, "A"), cooked("T-2", march(3, 1, 0), 72, "A"))
	atOnce(2, func(i int) {
		code := []string{"T-1", "T-2"}[i]
		if _, err := s.Record(s.ctx, s.sc, Happenings{Checks: checks(checkOf(code, march(5, 6, 0), 3))}); err != nil {
			t.Error(err)
		}
	})
	for _, code := range []string{"T-1", "T-2"} {
		list := s.deviationsOf(code)
		if len(list) != 1 {
			t.Fatalf("%d deviations of %s", len(list), code)
		}
		s.holds(list[0], "A")
	}
}

// A thousand readings arrive while the check fails: afterwards every lot is
// held, or the deviation is due for the run that holds it (design notes on performance, §5).
func TestReadingsRaceWithTheOpening(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.reads(cooked("T-1", march(3, 0, 0), 72, "L-0"))
	const senders, each = 20, 50
	atOnce(senders+1, func(i int) {
		if i == senders {
			if _, err := s.Record(s.ctx, s.sc, Happenings{Checks: checks(checkOf("T-1", march(5, 6, 0), 3))}); err != nil {
				t.Error(err)
			}
			return
		}
		var list []reading.Reading
		for n := range each {
			list = append(list, cooked("T-1", march(3, 1, 0).Add(time.Duration(i*each+n)*time.Second), 72, fmt.Sprint("L-", i)))
		}
		if _, err := s.TakeReadings(s.ctx, s.sc, chunk(fmt.Sprint("race-", i), list...)); err != nil {
			t.Error(err)
		}
	})
	d := s.deviationsOf("T-1")[0]
	missing := s.count(`select count(*) from lot where code like 'L-%' and lot_id not in (select lot_id from deviation_lot)`)
	if missing > 0 && d.RetraceDue == nil {
		t.Errorf("%d lots came too late and no run is due", missing)
	}
	run := s.trace(d)
	if run.Readings != senders*each+1 {
		t.Errorf("the run looked at %d readings, want %d", run.Readings, senders*each+1)
	}
	if n := len(s.held(d)); n != senders {
		t.Errorf("%d lots are held, want %d", n, senders)
	}
	s.is(d, Detected, false)
}

// Readings that arrive while a run is being made leave the deviation due.
func TestReadingsRaceWithTheTrace(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.reads(cooked("T-1", march(3, 0, 0), 72, "L-0"))
	d := s.fails("T-1", march(5, 6, 0))
	atOnce(8, func(i int) {
		if i%2 == 0 {
			if _, err := s.Trace(s.ctx, s.sc, d.ID); err != nil {
				t.Error(err)
			}
			return
		}
		r := cooked("T-1", march(3, i, 0), 72, fmt.Sprint("L-", i))
		if _, err := s.TakeReadings(s.ctx, s.sc, chunk(fmt.Sprint("race-", i), r)); err != nil {
			t.Error(err)
		}
	})
	if s.now(d).RetraceDue == nil {
		s.holds(d, "L-0", "L-1", "L-3", "L-5", "L-7")
	}
	s.trace(d)
	s.holds(d, "L-0", "L-1", "L-3", "L-5", "L-7")
	var runs []int
	s.query(&runs, `select run_number from trace_run order by 1`)
	if fmt.Sprint(runs) != "[1 2 3 4 5]" {
		t.Errorf("runs %v: each is kept under a number of its own", runs)
	}
}

// Every row of a fact that races with the opening is seen by it or makes it due.
func TestFactsRaceWithTheOpening(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.makes("A", "B")
	to := march(4, 0, 0)
	s.added(s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "stored", Location: "store", From: march(3, 0, 0), To: &to}}))
	s.reads(cooked("T-1", march(3, 0, 0), 72, "A"))
	var errs [5]error
	atOnce(5, func(i int) {
		switch i {
		case 0:
			_, errs[i] = s.Record(s.ctx, s.sc, Happenings{Checks: checks(checkOf("T-1", march(5, 6, 0), 3))})
		case 1:
			_, errs[i] = s.AddTransformations(s.ctx, s.sc, []lot.Transformation{{Event: "e", At: to, Input: "A", Output: "made"}})
		case 2:
			_, errs[i] = s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "store", From: march(2, 12, 0)}})
		case 3:
			_, errs[i] = s.AddTransformations(s.ctx, s.sc, []lot.Transformation{{Event: "e", At: to, Input: "made", Output: "made-again"}})
		case 4:
			_, errs[i] = s.AddShipments(s.ctx, s.sc, []lot.Shipment{{Shipment: "S", Lot: "B", Quantity: kg("5"), ShippedAt: to, Consignee: "a customer"}})
		}
	})
	s.must(errors.Join(errs[:]...))
	d := s.deviationsOf("T-1")[0]
	s.trace(d)
	if s.is(d, Detected, false); len(s.held(d)) != 4 {
		t.Errorf("held: %v", s.held(d))
	}
	s.holds(d, "A", "made", "made-again", "stored")
}

// Two people acknowledge the last two holds at once: the case is contained.
func TestAcknowledgementsRace(t *testing.T) {
	t.Parallel()
	s, d := withHolds(t)
	a, b := s.holdOf(d, "A"), s.holdOf(d, "B")
	atOnce(2, func(i int) {
		h := []int{a.Version, b.Version}[i]
		if _, err := s.AcknowledgeHold(s.ctx, s.sc, []hold.ID{a.ID, b.ID}[i], h, *kg("100")); err != nil {
			t.Error(err)
		}
	})
	s.is(d, Contained, true)
	// The same hold by eight at once: one of them did it.
	var mu sync.Mutex
	won := 0
	a = s.holdOf(d, "A")
	atOnce(8, func(i int) {
		sc := s.sc
		sc.By = actor.Actor{ID: fmt.Sprint("dock-", i), Kind: actor.Person}
		_, err := s.AcknowledgeHold(s.ctx, sc, a.ID, a.Version, *kg("100"))
		mu.Lock()
		defer mu.Unlock()
		switch {
		case err == nil:
			won++
		case fault.KindOf(err) != fault.Stale:
			t.Error(err)
		}
	})
	if won != 1 {
		t.Errorf("%d acknowledgements of one version were taken", won)
	}
}

// The same fact by eight at once, each with a key of its own: it is recorded
// once, and everyone is told that it is.
func TestSameFactAtOnce(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	to := march(4, 0, 0)
	for name, add := range map[string]func() (Counts, error){
		"lot":     func() (Counts, error) { return s.AddLots(s.ctx, s.sc, []lot.Lot{{Code: "A", Product: "roast"}}) },
		"product": func() (Counts, error) { return s.AddProducts(s.ctx, s.sc, []lot.Product{{Code: "soup"}}) },
		"stay": func() (Counts, error) {
			return s.AddStays(s.ctx, s.sc, []lot.Stay{{Lot: "B", Location: "store", From: march(3, 0, 0), To: &to}})
		},
		"transformation": func() (Counts, error) {
			return s.AddTransformations(s.ctx, s.sc, []lot.Transformation{{Event: "e", At: to, Input: "B", Output: "C"}})
		},
		"shipment": func() (Counts, error) {
			return s.AddShipments(s.ctx, s.sc, []lot.Shipment{{Shipment: "S", Lot: "D", ShippedAt: to, Consignee: "a customer"}})
		},
		"mounting": func() (Counts, error) {
			return s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "shelf", From: to}})
		},
		"instrument": func() (Counts, error) {
			return s.AddInstruments(s.ctx, s.sc, []instrument.Instrument{{Code: "T-3", Kind: "rtd", Unit: 'C', Tolerance: 1}})
		},
		"certificate": func() (Counts, error) {
			return Counts{}, s.certify("R-1")
		},
	} {
		atOnce(8, func(int) {
			if _, err := add(); err != nil {
				t.Errorf("%s: %v", name, err)
			}
		})
	}
	for _, table := range []string{"stay", "transformation", "shipment", "certificate", "mounting"} {
		if n := s.count(`select count(*) from ` + table); n != 1 {
			t.Errorf("%s: %d rows, want 1", table, n)
		}
	}
}
