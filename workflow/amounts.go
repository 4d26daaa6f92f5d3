package workflow

import (
	"context"
	"math/big"
	"slices"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/decision"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// amount is how much of a lot is in doubt, and where it was before anything was
// decided of it. Product that was released and then shipped, or reworked into
// another lot, is counted where it was decided on, and not a second time where it
// went: else every truck that leaves with released product would change what was
// signed for.
type amount struct {
	made      *unit.Quantity // nil: nobody said, or not in one unit with what went out
	inControl *unit.Quantity // before anything was carried out; nil: unknown
	inDoubt   *unit.Quantity // in control and shipped; nil: unknown
	shipped   []lot.Out      // in doubt
	used      []lot.Out      // into other lots, before anything was decided
}

// amounts adds up the lots of a deviation.
func amounts(ctx context.Context, tx *pg.Tx, ids []lot.ID, portions []lot.Portion, decided []decision.Decision, done []decision.Done) (map[lot.ID]amount, map[lot.ID][]lot.Out, error) {
	lots, err := lot.Get(ctx, tx, ids)
	if err != nil {
		return nil, nil, err
	}
	outs, err := lot.Outs(ctx, tx, ids)
	if err != nil {
		return nil, nil, err
	}
	went := letGo(portions, decided, done)
	all, by := map[lot.ID]amount{}, map[lot.ID][]lot.Out{}
	for _, o := range outs {
		by[o.Lot] = append(by[o.Lot], o)
	}
	for _, id := range ids {
		all[id] = amountOf(lots[id], by[id], went[id])
	}
	return all, by, nil
}

// pool is product that decisions let go, from when on.
type pool struct {
	since time.Time
	left  map[string]*big.Rat // by unit
}

// letGo returns, by lot, what executed dispositions let leave.
func letGo(portions []lot.Portion, decided []decision.Decision, done []decision.Done) map[lot.ID]*pool {
	of := map[decision.ID]lot.ID{}
	for _, d := range decided {
		if !d.Standing() { // what it let go is in doubt again, wherever it went
			continue
		}
		if i := slices.IndexFunc(portions, func(p lot.Portion) bool { return p.ID == d.Portion }); i >= 0 && portions[i].Place != lot.OnTheRoad {
			of[d.ID] = portions[i].Lot
		}
	}
	out := map[lot.ID]*pool{}
	for _, e := range done {
		id, ok := of[e.Disposition]
		if !ok || !slices.Contains([]string{"released", "reworked", "reprocessed", "diverted"}, e.Fate) {
			continue
		}
		p := out[id]
		if p == nil {
			p = &pool{since: e.At, left: map[string]*big.Rat{}}
			out[id] = p
		}
		if e.At.Before(p.since) {
			p.since = e.At
		}
		if p.left[e.Unit] == nil {
			p.left[e.Unit] = new(big.Rat)
		}
		p.left[e.Unit].Add(p.left[e.Unit], e.Quantity().Rat())
	}
	return out
}

// covers takes what went out from what was let go, if there is enough of it left.
func (p *pool) covers(o lot.Out) bool {
	q := o.Amount()
	if p == nil || o.At.Before(p.since) || q == nil || p.left[q.Unit] == nil || p.left[q.Unit].Cmp(q.Rat()) < 0 {
		return false
	}
	p.left[q.Unit].Sub(p.left[q.Unit], q.Rat())
	return true
}

func amountOf(l lot.Stored, outs []lot.Out, let *pool) amount {
	var s amount
	if l.Quantity != nil && l.Unit != nil {
		s.made = &unit.Quantity{Amount: *l.Quantity, Unit: *l.Unit}
	}
	for _, o := range outs {
		switch {
		case let.covers(o):
		case o.Consignee != "" || o.Into == "":
			s.shipped = append(s.shipped, o)
		default:
			s.used = append(s.used, o)
		}
	}
	s.inDoubt = less(s.made, s.used)
	s.inControl = less(s.inDoubt, s.shipped)
	return s
}

// less subtracts what went out; nil where that is not known, not in the same unit,
// or more than there was.
func less(q *unit.Quantity, outs []lot.Out) *unit.Quantity {
	if q == nil {
		return nil
	}
	left := q.Rat()
	for _, o := range outs {
		a := o.Amount()
		if a == nil || a.Unit != q.Unit {
			return nil
		}
		left = new(big.Rat).Sub(left, a.Rat())
	}
	if left.Sign() < 0 {
		return nil
	}
	return &unit.Quantity{Amount: unit.Decimal(left), Unit: q.Unit}
}
