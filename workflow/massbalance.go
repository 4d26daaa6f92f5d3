package workflow

import (
	"context"
	"math/big"
	"slices"
	"strconv"
	"strings"

	"lastgood/policy/balance"
	"lastgood/policy/disposition"
	"lastgood/policy/unit"
	"lastgood/workflow/decision"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/signoff"
)

// Balanced is the mass balance of one lot in doubt.
type Balanced struct {
	LotID     lot.ID
	Statement balance.Statement
	Findings  []balance.Imbalance
}

// Balances returns the mass balance of every lot that a deviation doubts.
func (s *Service) Balances(ctx context.Context, sc pg.Scope, id DeviationID) ([]Balanced, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]Balanced, error) {
		c, err := docketAt(ctx, tx, id)
		if err != nil {
			return nil, err
		}
		return c.balances(), nil
	})
}

func (c *docket) balances() []Balanced {
	var out []Balanced
	for _, f := range c.findings {
		if f.Verdict != "" {
			out = append(out, c.balance(f.LotID))
		}
	}
	return out
}

func (c *docket) balance(id lot.ID) Balanced {
	s, findings := balance.Balance(c.ledger(id), c.tolerance())
	return Balanced{id, s, findings}
}

// tolerance is how much may be unaccounted: the policy's, else what is common
// practice.
func (c *docket) tolerance() balance.Tolerance { return balance.DefaultTolerance() }

// unbalanced returns why nothing can be proposed of a lot as its quantities stand;
// empty: nothing stands in the way.
func (c *docket) unbalanced(id lot.ID) string {
	for _, f := range c.balance(id).Findings {
		// What nothing was proposed for yet is no reason not to propose.
		if f.Blocks == balance.Proposing && f.Rule != balance.NoDisposition && f.Rule != balance.ProposalsNotWhole {
			return f.Detail
		}
	}
	return ""
}

// ledger is what is written down of a lot's quantities.
func (c *docket) ledger(id lot.ID) balance.Ledger {
	a := c.amounts[id]
	l := balance.Ledger{Lot: c.finding(id).Lot, InDoubt: a.inDoubt}
	if a.made != nil {
		l.Unit = a.made.Unit
		l.Entries = append(l.Entries, balance.Entry{Kind: balance.Made, Ref: l.Lot, Quantity: *a.made, Source: "lot"})
	}
	if a.inControl != nil {
		l.Entries = append(l.Entries, balance.Entry{Kind: balance.InControl, Ref: l.Lot, Quantity: *a.inControl, Source: "lot less what went out", Also: c.counted(id)})
	}
	for _, o := range a.shipped {
		if q := o.Amount(); q != nil {
			l.Entries = append(l.Entries, balance.Entry{Kind: balance.Shipped, Ref: o.Ref, Quantity: *q, Source: "shipment"})
		}
	}
	for _, o := range a.used {
		if q := o.Amount(); q != nil {
			l.Entries = append(l.Entries, balance.Entry{Kind: balance.ReworkedOut, Ref: o.Ref + " into " + o.Into, Quantity: *q, Source: "transformation"})
		}
	}
	for _, p := range c.portionsOf(id) {
		if q := c.quantity(p); p.Place != lot.Retrieved && q != nil && q.Rat().Sign() > 0 {
			if l.Unit == "" {
				l.Unit = q.Unit
			}
			l.Portions = append(l.Portions, balance.Portion{ID: portionName(p), Mark: markOf(p), Quantity: *q, Source: "portion", Decisions: c.fates(p, *q)})
		}
	}
	return l
}

// counted is what the warehouse counted of all that is in control of a lot, if it
// is known of all of it.
func (c *docket) counted(id lot.ID) []balance.Count {
	for _, h := range c.holds {
		if h.Lot == id && h.Portion == "" && h.Counted != nil && h.CountedUnit != nil && len(c.portionsOf(id)) == 1 {
			return []balance.Count{{Source: "count under hold", Quantity: unit.Quantity{Amount: *h.Counted, Unit: *h.CountedUnit}}}
		}
	}
	return nil
}

func markOf(p lot.Portion) balance.Mark {
	m := balance.Mark{Pallet: orEmpty(p.Pallet), Tag: orEmpty(p.Tag)}
	if p.Place == lot.OnTheRoad { // told apart by where it went
		m.Tag = p.Label
	}
	if p.From != nil {
		m.From, m.Until = *p.From, *p.Until
	}
	return m
}

// fates are what was decided of a portion: as carried out, and until then whole.
func (c *docket) fates(p lot.Portion, q unit.Quantity) []balance.Decision {
	dec, has := c.decision(p.ID)
	if !has {
		if dec, has = c.elsewhere(p); !has {
			return nil
		}
	}
	done := c.doneOf(dec.ID)
	if len(done) == 0 {
		return []balance.Decision{c.fate(dec, p, balance.Fate(fateOf[dec.Kind]), q, nil)}
	}
	var out []balance.Decision
	for _, e := range done {
		out = append(out, c.fate(dec, p, balance.Fate(e.Fate), e.Quantity(), &e))
		out[len(out)-1].Reason = e.Reason
		if e.Fate == "retrieved" {
			out[len(out)-1].Then = c.second(dec, p, e)
		}
	}
	if dec.State != decision.Executed {
		if left := leftOf(q, done); left != nil {
			out = append(out, c.fate(dec, p, balance.Fate(fateOf[dec.Kind]), *left, nil))
		}
	}
	return out
}

func leftOf(q unit.Quantity, done []decision.Done) *unit.Quantity {
	left := q.Rat()
	for _, e := range done {
		left.Sub(left, e.Quantity().Rat())
	}
	if left.Sign() <= 0 {
		return nil
	}
	return &unit.Quantity{Amount: unit.Decimal(left), Unit: q.Unit}
}

// fate is what was reported; nil: what is still to be done.
func (c *docket) fate(dec decision.Decision, p lot.Portion, f balance.Fate, q unit.Quantity, e *decision.Done) balance.Decision {
	d := balance.Decision{Fate: f, Quantity: q}
	if e != nil {
		d.Done = &q
	}
	if dec.Kind == disposition.Rework && f == balance.Reworked {
		d.Into = c.receiving(dec, p, q, e)
	}
	return d
}

// receiving is the lot that reworked product went into, as its own record has it.
func (c *docket) receiving(dec decision.Decision, p lot.Portion, q unit.Quantity, e *decision.Done) *balance.Receiving {
	r := &balance.Receiving{Lot: dec.IntoLot, Because: balance.Because(dec.Because)}
	if dec.Because == "" && slices.ContainsFunc(c.findings, func(f Finding) bool { return f.Lot == dec.IntoLot }) {
		r.Because = balance.InDoubtToo
	}
	r.Input = c.input(dec, p, q, e)
	return r
}

// input is how much of what the receiving lot took in stands for a report: what went
// in before anything was decided stands for none, and what stands for an earlier
// report, of this portion or another, does not stand for a second one. Nil: nothing.
func (c *docket) input(dec decision.Decision, p lot.Portion, q unit.Quantity, e *decision.Done) *unit.Quantity {
	left := new(big.Rat)
	for _, o := range c.outs[p.Lot] {
		a := o.Amount()
		if o.Into == dec.IntoLot && a != nil && a.Unit == q.Unit && !slices.Contains(c.amounts[p.Lot].used, o) {
			left.Add(left, a.Rat())
		}
	}
	for _, before := range slices.Concat(c.theirs, c.done) {
		if e != nil && before.ID == e.ID {
			break
		}
		if before.Fate == "reworked" && before.Unit == q.Unit && c.sameRework(before.Disposition, dec, p.Lot) {
			left.Sub(left, before.Quantity().Rat())
		}
	}
	switch {
	case left.Sign() <= 0:
		return nil
	case left.Cmp(q.Rat()) > 0:
		return &q
	}
	return &unit.Quantity{Amount: unit.Decimal(left), Unit: q.Unit}
}

// sameRework says whether a disposition that counts is of the same lot, and into the
// same one.
func (c *docket) sameRework(id decision.ID, as decision.Decision, of lot.ID) bool {
	return slices.ContainsFunc(slices.Concat(c.others, c.decided), func(d decision.Decision) bool {
		return d.ID == id && d.Standing() && d.IntoLot == as.IntoLot && c.portion(d.Portion).Lot == of
	})
}

// second is what was decided of what came back by one report.
func (c *docket) second(first decision.Decision, p lot.Portion, e decision.Done) []balance.Decision {
	var out []balance.Decision
	suffix := "(" + strconv.FormatInt(e.ID, 10) + ")"
	for _, back := range c.portionsOf(p.Lot) {
		if back.OutOf == nil || *back.OutOf != int64(first.ID) || !strings.HasSuffix(back.Label, suffix) {
			continue
		}
		if q := back.Amount(); q != nil {
			out = append(out, c.fates(back, *q)...)
		}
	}
	return out
}

// signedBalance is what is signed where something is unaccounted within the
// tolerance.
type signedBalance struct {
	Lot         string `json:"lot"`
	Unit        string `json:"unit"`
	InDoubt     string `json:"in_doubt"`
	Unaccounted string `json:"unaccounted"`
	Allowed     string `json:"allowed"`
	Caution     string `json:"caution"`
}

// unaccounted returns the records to be signed for what is unaccounted within
// tolerance, by lot.
func (c *docket) unaccounted() []signoff.Draft {
	var out []signoff.Draft
	for _, b := range c.balances() {
		if b.Statement.Closing != balance.ClosesWhenSigned {
			continue
		}
		w := signedBalance{b.Statement.Lot, b.Statement.Unit, balance.Decimal(b.Statement.InDoubt), balance.Decimal(b.Statement.Unaccounted), balance.Decimal(b.Statement.Allowed), caution}
		out = append(out, signoff.Draft{Kind: signoff.Balance, ID: int64(b.LotID), Deviation: int64(c.d.ID), Stream: c.d.stream(), Subjects: []string{w.Lot}, What: w,
			Seats: []signoff.Seat{{Role: disposition.Verifier, Deed: disposition.Verified, Meaning: "accepts what is unaccounted as within what is allowed"}},
			Run:   c.run, Policy: c.policy.version, Reason: "the balance has changed"})
	}
	return out
}
