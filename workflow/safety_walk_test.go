package workflow

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Two deviations that doubt the same lots, of which some has left and more leaves:
// whatever is done in one of them, in any order, nothing that either doubts and has
// not decided on is let go.
func TestSafetyWalkOfTwo(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.employ()
	s.makes("A", "B", "C")
	s.ships("B", "30", march(3, 9, 0))
	w := &walker{site: s, Rand: rand.New(rand.NewPCG(13, 17)), readAt: march(3, 1, 0), reached: map[State]int{}}
	s.reads(cooked("T-1", march(3, 1, 0), 80, "A"), cooked("T-1", march(3, 2, 0), 72, "B"), cooked("T-2", march(3, 1, 30), 72, "A"), cooked("T-2", march(3, 2, 30), 80, "B"))
	s.fails("T-1", march(4, 6, 0))
	s.fails("T-2", march(4, 6, 30))
	for range *walkSteps {
		w.n++
		name, err := w.stepOfTwo()
		var rows fault.Rows
		var one *fault.Error
		if err != nil && !errors.As(err, &rows) && !errors.As(err, &one) {
			t.Fatalf("step %d, %s: %v", w.n, name, err)
		}
		s.checkAll()
		for _, d := range w.deviations() {
			w.reached[d.State]++
			w.closedRightly(d)
			w.undecidedIsHeld(d)
		}
		if t.Failed() {
			t.Fatalf("after step %d, %s", w.n, name)
		}
	}
	t.Logf("%d steps; states: %v", w.n, w.reached)
}

func (w *walker) stepOfTwo() (string, error) {
	switch w.IntN(40) {
	case 0:
		return "ship now", w.shipNow()
	case 1:
		w.readAt = w.readAt.Add(time.Minute)
		_, err := w.TakeReadings(w.ctx, w.sc, chunk(fmt.Sprint("two ", w.n), cooked("T-2", w.readAt, float64(60+w.IntN(30)), pick(w, []string{"A", "B", "C"}))))
		return "late reading of the other", err
	}
	return w.step()
}

func (w *walker) shipNow() error {
	_, err := w.AddShipments(w.ctx, w.sc, []lot.Shipment{{Shipment: fmt.Sprint("N-", w.n), Lot: pick(w, []string{"A", "B"}), Quantity: kg("5"), ShippedAt: w.db.Now(), Consignee: "a customer"}})
	return err
}

// undecidedIsHeld: what the last run doubts, and no disposition of this deviation was
// carried out for, is under a hold of this deviation.
func (w *walker) undecidedIsHeld(d Deviation) {
	if d.RetraceDue != nil || d.State == CancelledInError {
		return
	}
	w.must(w.db.Read(w.ctx, w.sc, func(tx *pg.Tx) error {
		c, err := docketOf(w.ctx, tx, d)
		if err != nil {
			return err
		}
		for _, p := range c.toDecide() {
			where, err := lot.Positions(w.ctx, tx, []lot.ID{p.Lot})
			if err != nil {
				return err
			}
			dec, has := c.decision(p.ID)
			if p.Place == lot.OnTheRoad || has && dec.State == "executed" || p.Place == lot.InControl && !where[p.Lot].InControl {
				continue
			}
			held := false
			for _, h := range c.holds {
				held = held || h.Lot == p.Lot && h.Portion == p.Label
			}
			if !held {
				n, err := hold.Others(w.ctx, tx, int64(d.ID), p.ID)
				w.Errorf("deviation %d, %s: %s is %s and not held by it (%d others; %v)", d.ID, d.State, portionName(p), p.State, n, err)
			}
		}
		return nil
	}))
}
