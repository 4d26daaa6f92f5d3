package workflow

import (
	"encoding/hex"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/signoff"
)

var walkSteps = flag.Int("walk", 150, "how many commands the random walk takes")

// walker takes commands at random.
type walker struct {
	*site
	*rand.Rand
	n       int
	readAt  time.Time
	reached map[State]int
}

func pick[T any](w *walker, list []T) T { return list[w.IntN(len(list))] }

// TestWalkKeepsEverythingTrue takes random commands, of people in roles at random,
// in any order. After each of them the trail verifies, every state follows from
// it, holds and portions agree, nothing in doubt is in control and free without a
// reason, and what is closed had nothing in the way.
func TestWalkKeepsEverythingTrue(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.employ()
	s.makes("A", "B", "C")
	w := &walker{site: s, Rand: rand.New(rand.NewPCG(7, 11)), readAt: march(3, 1, 0), reached: map[State]int{}}
	s.reads(cooked("T-1", march(3, 1, 0), 80, "A"), cooked("T-1", march(3, 2, 0), 72, "B"))
	s.fails("T-1", march(4, 6, 0))
	refused := map[string]int{}
	for range *walkSteps {
		w.n++
		name, err := w.step()
		var rows fault.Rows
		var one *fault.Error
		switch {
		case errors.As(err, &rows):
			refused[name+": "+rows[0].Rule]++
		case errors.As(err, &one):
			refused[name+": "+one.Rule]++
		case err != nil:
			t.Fatalf("step %d, %s: %v", w.n, name, err)
		}
		s.checkAll()
		for _, d := range w.deviations() {
			w.reached[d.State]++
			w.closedRightly(d)
		}
		if t.Failed() {
			t.Fatalf("after step %d, %s", w.n, name)
		}
	}
	t.Logf("%d steps; states: %v; refused: %v", w.n, w.reached, refused)
	for _, st := range []State{Traced, Evaluating, DispositionProposed, Executing, Verifying} {
		if *walkSteps >= 1000 && w.reached[st] == 0 {
			t.Errorf("the walk never came to %s", st)
		}
	}
}

func (w *walker) deviations() []Deviation {
	list, err := w.Deviations(w.ctx, w.sc)
	w.must(err)
	return list
}

// closedRightly: a closed deviation has nothing in the way, or waits for a new run.
func (w *walker) closedRightly(d Deviation) {
	if d.State != Closed || d.RetraceDue != nil {
		return
	}
	if left := w.codes(d); len(left) > 0 {
		w.Errorf("deviation %d is closed, and %v stands in the way", d.ID, left)
	}
}

// step takes one command. What moves a deviation on comes up more often than what
// throws it back.
func (w *walker) step() (string, error) {
	d := pick(w, w.deviations())
	switch n := w.IntN(100); {
	case n < 15:
		return "acknowledge", w.acknowledgeAny(d)
	case n < 25:
		_, err := w.Trace(w.ctx, w.sc, d.ID)
		return "trace", err
	case n < 35:
		_, err := w.Evaluate(w.ctx, w.as(pick(w, []disposition.Role{disposition.QALead, disposition.QualifiedPerson})), d.ID, d.Version)
		return "evaluate", err
	case n < 50:
		return "propose", w.proposeAny(d)
	case n < 74:
		return "sign", w.signAny(d)
	case n < 88:
		return "report", w.reportAny(d)
	case n < 89:
		return "split", w.splitAny(d)
	case n < 90:
		w.readAt = w.readAt.Add(time.Minute)
		_, err := w.TakeReadings(w.ctx, w.sc, chunk(fmt.Sprint("walk ", w.n), cooked("T-1", w.readAt, float64(60+w.IntN(30)), pick(w, []string{"A", "B", "C"}))))
		return "late reading", err
	case n < 92:
		return w.oddStep(d)
	case n < 96:
		_, err := w.AskToClose(w.ctx, w.as(disposition.QALead), d.ID)
		return "ask to close", err
	}
	return "lift", w.liftAny(d)
}

// oddStep is what seldom happens.
func (w *walker) oddStep(d Deviation) (string, error) {
	switch w.IntN(5) {
	case 0:
		_, err := w.PlaceHold(w.ctx, w.sc, pick(w, []string{"A", "B", "C"}), "", fmt.Sprint("smells ", w.IntN(3)))
		return "hold by hand", err
	case 1:
		_, err := w.Reopen(w.ctx, w.as(disposition.QALead), d.ID, pick(w, Triggers), "somebody fell ill")
		return "reopen", err
	case 2:
		for _, c := range w.docket(d).decided {
			if c.Standing() {
				_, err := w.WithdrawProposal(w.ctx, w.as(disposition.QALead), c.ID, "second thoughts")
				return "withdraw", err
			}
		}
		return "withdraw", nil
	case 3:
		_, err := w.AttachEvidence(w.ctx, w.as(disposition.QALead), d.ID, NewEvidence{Lot: pick(w, []string{"A", "B", "C"}),
			Kind: pick(w, []disposition.Evidence{disposition.QualifiedEvaluation, disposition.ValidatedProcess, disposition.ReceiverAcceptance}), Name: fmt.Sprint("paper ", w.n), Note: "in the binder"})
		return "attach", err
	}
	shipment := fmt.Sprint("S-", w.n)
	_, err := w.AddShipments(w.ctx, w.sc, oneShipment(pick(w, []string{"A", "B", "C"}), shipment))
	return "ship", err
}

func (w *walker) acknowledgeAny(d Deviation) error {
	list, err := w.HoldsAfter(w.ctx, w.sc, d.ID, 0, 100)
	if err != nil || len(list) == 0 {
		return err
	}
	h := pick(w, list)
	counted := unit.Quantity{Amount: "100", Unit: "kg"}
	if h.Quantity != nil && w.IntN(6) > 0 {
		counted = unit.Quantity{Amount: *h.Quantity, Unit: *h.Unit}
	}
	_, err = w.AcknowledgeHold(w.ctx, w.sc, h.ID, h.Version, counted)
	return err
}

func (w *walker) proposeAny(d Deviation) error {
	list := w.docket(d).toDecide()
	if len(list) == 0 {
		return nil
	}
	p := pick(w, list)
	kinds := []disposition.Disposition{disposition.Release, disposition.Destroy, disposition.Destroy, disposition.Retrieve, disposition.Divert, disposition.Rework}
	return w.proposes(d, p.LotCode, p.Label, pick(w, kinds))
}

func (w *walker) signAny(d Deviation) error {
	var open []signoff.Record
	for _, r := range w.records(d) {
		if !r.Complete() && w.stands(r) {
			open = append(open, r)
		}
	}
	if len(open) == 0 {
		return nil
	}
	r := pick(w, open)
	role := r.Open()[0].Role
	if w.IntN(5) == 0 {
		for role = range staff {
			break
		}
	}
	_, err := w.Sign(w.ctx, w.as(role), role, "", []ToSign{{r.Kind, r.ID, hex.EncodeToString(r.Digest)}})
	return err
}

func (w *walker) reportAny(d Deviation) error {
	c := w.docket(d)
	var open []decision.Decision
	for _, x := range c.decided {
		if x.State == decision.Proposed {
			open = append(open, x)
		}
	}
	if len(open) == 0 {
		return nil
	}
	x := pick(w, open)
	q := c.quantity(c.portion(x.Portion))
	if q == nil {
		return nil
	}
	if left := leftOf(*q, c.doneOf(x.ID)); left != nil {
		q = left
	}
	_, err := w.ReportExecution(w.ctx, w.as(disposition.LineSupervisor), x.ID, NewReport{Fate: fateOf[x.Kind], Quantity: *q, At: w.db.Now(), Place: "the yard", Last: w.IntN(4) > 0})
	return err
}

func (w *walker) splitAny(d Deviation) error {
	lots := w.docket(d).findings
	if len(lots) == 0 {
		return nil
	}
	n := NewPortion{Lot: pick(w, lots).Lot, Label: fmt.Sprint("pallet ", w.n), Quantity: unit.Quantity{Amount: fmt.Sprint(1 + w.IntN(40)), Unit: "kg"}, Pallet: fmt.Sprint("P-", w.n)}
	_, err := w.SplitPortion(w.ctx, w.as(disposition.QALead), d.ID, n)
	return err
}

func (w *walker) liftAny(d Deviation) error {
	list, err := w.HoldsAfter(w.ctx, w.sc, d.ID, 0, 100)
	if err != nil || len(list) == 0 {
		return err
	}
	_, err = w.AskToLift(w.ctx, w.as(disposition.QALead), pick(w, list).ID, "it is not in doubt")
	return err
}

func oneShipment(code, shipment string) []lot.Shipment {
	return []lot.Shipment{{Shipment: shipment, Lot: code, Quantity: kg("5"), ShippedAt: march(4, 12, 0), Consignee: "a customer"}}
}
