package workflow

import (
	"context"
	"fmt"
	"math/big"
	"slices"
	"strings"
	"time"

	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/decision"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
	"lastgood/workflow/trail"
)

// NewReport says what was carried out of a disposition.
type NewReport struct {
	Fate     string        `json:"fate"` // what became of it: released, destroyed, samples …
	Quantity unit.Quantity `json:"quantity"`
	At       time.Time     `json:"at"`
	Place    string        `json:"place"`
	Tag      string        `json:"tag"`
	Reason   string        `json:"reason"` // of what cannot be recovered
	Last     bool          `json:"last"`   // nothing of the portion is left to report
}

// fateOf is what a disposition comes to when it is carried out.
var fateOf = map[disposition.Disposition]string{disposition.Release: "released", disposition.Rework: "reworked", disposition.Reprocess: "reprocessed",
	disposition.Divert: "diverted", disposition.Destroy: "destroyed", disposition.Retrieve: "retrieved"}

// ReportExecution records what was carried out of a signed disposition, by a
// person or by a plant's system. A portion need not wait until the others are
// decided on. A release lets the portion go; what was destroyed
// or went elsewhere is no more; what came back is a portion of its own, on hold,
// that is decided on again.
func (s *Service) ReportExecution(ctx context.Context, sc pg.Scope, id decision.ID, n NewReport) (decision.Decision, error) {
	request := map[string]any{"disposition": id, "report": n}
	return do(ctx, s, sc, "report execution", request, statusCreated, func(tx *pg.Tx) (dec decision.Decision, err error) {
		if err := tx.OwnPlant(ctx); err != nil { // so that the ship gate answers before or after
			return dec, err
		}
		if dec, err = decision.Get(ctx, tx, id); err != nil {
			return dec, err
		}
		d, err := lockDeviation(ctx, tx, DeviationID(dec.Deviation))
		if err != nil {
			return dec, err
		}
		c, err := docketOf(ctx, tx, d)
		if err != nil {
			return dec, err
		}
		if dec, err = decision.Get(ctx, tx, id); err != nil {
			return dec, err
		}
		if err := c.mayReport(dec, n, tx.Now); err != nil {
			return dec, err
		}
		if err := c.noOtherHold(ctx, tx, dec); err != nil {
			return dec, err
		}
		if err := c.report(ctx, tx, dec, n); err != nil {
			return dec, err
		}
		if err := refresh(ctx, tx, &d, "more was carried out"); err != nil {
			return dec, err
		}
		if err := advance(ctx, tx, &d); err != nil {
			return dec, err
		}
		if err := othersToo(ctx, tx, d.ID, c.portion(dec.Portion).Lot, fmt.Sprintf("deviation %d carried something out of the same lot", d.ID)); err != nil {
			return dec, err
		}
		return decision.Get(ctx, tx, id)
	})
}

// mayReport refuses what was not signed for, or cannot be.
func (c *docket) mayReport(dec decision.Decision, n NewReport, now time.Time) error {
	allowed := []string{fateOf[dec.Kind], "samples", "process_loss"}
	if dec.Kind == disposition.Retrieve {
		allowed = []string{"retrieved", "accounted_unrecoverable"}
	}
	r, has := c.record(signoff.Disposition, int64(dec.ID))
	switch {
	case !dec.Standing():
		return fault.New(fault.Refused, "not-standing", "disposition %d is %s", dec.ID, dec.State)
	case dec.State == decision.Executed:
		return fault.New(fault.Refused, "carried-out", "disposition %d was carried out: all of it was reported", dec.ID)
	case !has || !r.Complete():
		return fault.New(fault.Refused, "missing-signature", "disposition %d is not signed by everyone: nothing is carried out before", dec.ID)
	case c.d.RetraceDue != nil:
		return fault.New(fault.Refused, "newer-trace-exists", "something newer is known of deviation %d than what was signed for: it waits to be traced", c.d.ID)
	case !c.mayCarryOut(dec):
		return fault.New(fault.Refused, "transition-not-allowed", "deviation %d is %s: nothing is released before all of it is contained, traced and evaluated, and nothing is carried out after it was closed", c.d.ID, c.d.State)
	case !slices.Contains(allowed, n.Fate):
		return fault.New(fault.Invalid, "unknown-word", "of a %s is reported: %s", dec.Kind, strings.Join(allowed, ", ")).In("fate")
	case n.Fate == "accounted_unrecoverable" && strings.TrimSpace(n.Reason) == "":
		return fault.New(fault.Invalid, "reason-missing", "say why it cannot be recovered").In("reason")
	case n.At.After(now.Add(10 * time.Minute)):
		return fault.New(fault.Invalid, "in-the-future", "it has not happened yet").In("at")
	case dec.Kind != disposition.Retrieve && n.At.Before(lastSigned(r).Truncate(time.Minute)): // a truck is called back before anyone has signed
		return fault.New(fault.Refused, "before-decision", "it was decided on %s: what was done before was not done on that decision", lastSigned(r).UTC().Format(time.RFC3339)).In("at")
	}
	return c.notTooMuch(dec, n)
}

// mayCarryOut says whether a signed disposition may be carried out where the
// deviation stands. What is destroyed, or comes back, need not wait until other
// product is held; what is let go does.
func (c *docket) mayCarryOut(dec decision.Decision) bool {
	if slices.Contains([]State{Evaluating, AwaitingResults, DispositionProposed, DispositionSigned, Executing}, c.d.State) {
		return true
	}
	open := slices.Contains([]State{Detected, Contained, Traced, Reopened}, c.d.State)
	return open && (dec.Kind == disposition.Destroy || dec.Kind == disposition.Retrieve)
}

// lastSigned is when a record was signed by the last of those who have.
func lastSigned(r signoff.Record) (at time.Time) {
	for _, s := range r.Signatures {
		if s.SignedAt.After(at) {
			at = s.SignedAt
		}
	}
	return at
}

// noOtherHold refuses to move what something else holds too: a release lifts one
// deviation's hold and no other, and what is destroyed is held by nobody.
func (c *docket) noOtherHold(ctx context.Context, tx *pg.Tx, dec decision.Decision) error {
	if !slices.Contains([]disposition.Disposition{disposition.Rework, disposition.Reprocess, disposition.Divert}, dec.Kind) {
		return nil
	}
	n, err := hold.Others(ctx, tx, int64(c.d.ID), dec.Portion)
	if err == nil && n > 0 {
		return fault.New(fault.Refused, "held-otherwise", "%d other holds stand on %s: it stays where it is until they are lifted", n, portionName(c.portion(dec.Portion)))
	}
	return err
}

// notTooMuch refuses more than was decided on: what is over was never in doubt,
// or is somebody's slip.
func (c *docket) notTooMuch(dec decision.Decision, n NewReport) error {
	q := c.quantity(c.portion(dec.Portion))
	if q == nil {
		return fault.New(fault.Refused, "quantity-unknown", "nobody knows how much there is of it")
	}
	if q.Unit != n.Quantity.Unit {
		return fault.New(fault.Invalid, "unknown-unit", "it was decided on in %s: report it in %s", q.Unit, q.Unit).In("quantity_unit")
	}
	sum := n.Quantity.Rat()
	for _, e := range c.doneOf(dec.ID) {
		sum.Add(sum, e.Quantity().Rat())
	}
	if missing := new(big.Rat).Sub(q.Rat(), sum); n.Last && !c.tolerance().Allows(*q, missing) {
		return fault.New(fault.Refused, "not-whole", "%s were decided on, and %s %s of it are not reported: report the rest too, as what became of it, samples or process_loss, or leave last out", q, unit.Decimal(missing), q.Unit).In("last")
	}
	if sum.Cmp(q.Rat()) > 0 {
		return fault.New(fault.Refused, "quantity-exceeded", "%s were decided on, and that would make %s %s", q, unit.Decimal(sum), q.Unit).In("quantity")
	}
	return nil
}

func (c *docket) report(ctx context.Context, tx *pg.Tx, dec decision.Decision, n NewReport) error {
	p := c.portion(dec.Portion)
	done := decision.Done{Disposition: dec.ID, Fate: n.Fate, Amount: n.Quantity.Amount, Unit: n.Quantity.Unit, At: n.At, Place: n.Place, Tag: n.Tag, Reason: n.Reason}
	number, err := decision.Report(ctx, tx, done)
	if err != nil {
		return err
	}
	c.done = append(c.done, done)
	if n.Fate == "retrieved" && n.Quantity.Rat().Sign() > 0 {
		if err := c.cameBack(ctx, tx, dec, p, n, number); err != nil {
			return err
		}
	}
	if n.Last || c.whole(dec, p) {
		if err := c.finished(ctx, tx, dec, p); err != nil {
			return err
		}
	}
	return trail.Append(ctx, tx, trail.Entry{Stream: c.d.stream(), Action: "disposition.carried_out", Subject: portionName(p), Version: dec.Version, HappenedAt: n.At,
		After: map[string]any{"disposition": dec.ID, "fate": n.Fate, "quantity": n.Quantity.String(), "place": n.Place, "tag": n.Tag, "last": n.Last}, Reason: n.Reason})
}

// whole says whether all of a portion was reported.
func (c *docket) whole(dec decision.Decision, p lot.Portion) bool {
	q := c.quantity(p)
	return q != nil && leftOf(*q, c.doneOf(dec.ID)) == nil
}

// cameBack names what came back and holds it.
func (c *docket) cameBack(ctx context.Context, tx *pg.Tx, dec decision.Decision, p lot.Portion, n NewReport, number int64) error {
	out := int64(dec.ID)
	back := lot.Portion{Lot: p.Lot, LotCode: p.LotCode, Label: fmt.Sprintf("back from %s (%d)", strings.TrimPrefix(p.Label, "shipment "), number), State: "free", Place: lot.Retrieved,
		Quantity: &n.Quantity.Amount, Unit: &n.Quantity.Unit, Tag: orNil(n.Tag), OutOf: &out}
	back, err := lot.AddPortion(ctx, tx, back)
	if err != nil {
		return err
	}
	if err := hold.OnPortion(ctx, tx, int64(c.d.ID), back); err != nil {
		return err
	}
	return c.heldByOthersToo(ctx, tx, p, back)
}

// heldByOthersToo holds what came back for every other deviation that doubts the
// shipment: the second disposition of one lets it go for that one only.
func (c *docket) heldByOthersToo(ctx context.Context, tx *pg.Tx, out, back lot.Portion) error {
	list, err := othersThatDoubt(ctx, tx, c.d.ID, out.Lot)
	if err != nil {
		return err
	}
	for _, id := range list {
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return err
		}
		o, err := docketOf(ctx, tx, d)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(o.portions, func(p lot.Portion) bool { return p.ID == out.ID }) {
			continue
		}
		if err := hold.OnPortion(ctx, tx, int64(id), back); err != nil {
			return err
		}
	}
	return nil
}

// finished lets go of a portion of which all was reported.
func (c *docket) finished(ctx context.Context, tx *pg.Tx, dec decision.Decision, p lot.Portion) error {
	if err := decision.Move(ctx, tx, dec.ID, decision.Executed, ""); err != nil {
		return err
	}
	if err := decideOn(ctx, tx, &p); err != nil { // a test may have decided since
		return err
	}
	facts := PortionFacts{Held: p.Place != lot.OnTheRoad, Shipped: p.Place == lot.OnTheRoad, Signed: true, Done: true}
	if p.Place == lot.OnTheRoad {
		return movePortion(ctx, tx, &p, c.cameTo(dec), facts)
	}
	if _, err := portionTrack.Next(ctx, State(p.State), Event(dec.Kind), tx.By.Kind, facts); err != nil {
		return err
	}
	why := fmt.Sprintf("disposition %d was carried out", dec.ID)
	if dec.Kind == disposition.Destroy {
		return hold.LiftAll(ctx, tx, p.ID, fateOf[dec.Kind], why)
	}
	return hold.Lift(ctx, tx, int64(c.d.ID), p.ID, fateOf[dec.Kind], why)
}

// cameTo is what carrying out comes to for product that had left: it came back, in
// part at least; none of it can be recovered; or it may stay where it is.
func (c *docket) cameTo(dec decision.Decision) Event {
	if dec.Kind == disposition.Release {
		return "release"
	}
	for _, e := range c.doneOf(dec.ID) {
		if e.Fate == "retrieved" {
			return "retrieve"
		}
	}
	return "write_off"
}
