package workflow

import (
	"context"
	"slices"
	"strings"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/hold"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// NewPortion says how a portion is told apart, and how much it is.
type NewPortion struct {
	Lot      string        `json:"lot"`
	Label    string        `json:"portion"`
	Quantity unit.Quantity `json:"quantity"`
	Pallet   string        `json:"pallet"` // its SSCC or the plant's own number
	Tag      string        `json:"tag"`    // of the hold
	From     *time.Time    `json:"made_from"`
	Until    *time.Time    `json:"made_until"`
}

// SplitPortion names a portion out of what no other portion of a lot names: by
// its pallet, its tag or its time of production. It stays under every hold that
// the lot is under, and is decided on by itself from then on. What was proposed
// for the rest is to be signed again, since its quantity changes.
func (s *Service) SplitPortion(ctx context.Context, sc pg.Scope, id DeviationID, n NewPortion) (lot.Portion, error) {
	if err := n.check(); err != nil {
		return lot.Portion{}, err
	}
	request := map[string]any{"deviation": id, "portion": n}
	return do(ctx, s, sc, "split portion", request, statusCreated, func(tx *pg.Tx) (p lot.Portion, err error) {
		if err := tx.OwnPlant(ctx); err != nil { // so that the ship gate sees the holds before or after
			return p, err
		}
		d, err := lockDeviation(ctx, tx, id)
		if err != nil {
			return p, err
		}
		if d.State == Closed || d.State == CancelledInError {
			return p, fault.New(fault.Refused, "transition-not-allowed", "deviation %d is %s: nothing is divided any more", d.ID, d.State)
		}
		c, err := docketOf(ctx, tx, d)
		if err != nil {
			return p, err
		}
		if p, err = c.split(ctx, tx, n); err != nil {
			return p, err
		}
		why := "portion " + n.Label + " was named out of the rest of lot " + n.Lot
		if err := refresh(ctx, tx, &d, why); err != nil {
			return p, err
		}
		if err := advance(ctx, tx, &d); err != nil {
			return p, err
		}
		if err := othersToo(ctx, tx, d.ID, p.Lot, why); err != nil {
			return p, err
		}
		return p, trail.Append(ctx, tx, trail.Entry{Stream: d.stream(), Action: "portion.named", Subject: portionName(p), Version: 1, After: n})
	})
}

func (n NewPortion) check() error {
	switch {
	case strings.TrimSpace(n.Label) == "" || strings.HasPrefix(n.Label, "shipment ") || strings.HasPrefix(n.Label, "back from "):
		return fault.New(fault.Invalid, "bad-name", "a portion needs a name of its own").In("portion")
	case n.Quantity.Rat().Sign() == 0:
		return fault.New(fault.Invalid, "not-a-quantity", "a portion of nothing is no portion").In("quantity")
	case n.Pallet == "" && n.Tag == "" && n.From == nil && n.Until == nil:
		return fault.New(fault.Invalid, "not-told-apart", "say by what the portion is told apart on the floor: its pallet, its tag, or its time of production").In("pallet")
	case (n.From == nil) != (n.Until == nil) || n.From != nil && !n.From.Before(*n.Until):
		return fault.New(fault.Invalid, "out-of-range", "a time of production has a beginning, and an end after it").In("made_from")
	}
	return nil
}

// split names the portion and carries the holds over.
func (c *docket) split(ctx context.Context, tx *pg.Tx, n NewPortion) (p lot.Portion, err error) {
	rest, err := c.find(n.Lot, "")
	if err != nil {
		return p, err
	}
	for _, o := range c.portionsOf(rest.Lot) {
		if err := n.apartFrom(o); err != nil {
			return p, err
		}
	}
	if dec, has := c.decision(rest.ID); has && len(c.doneOf(dec.ID)) > 0 {
		return p, fault.New(fault.Refused, "carried-out", "what was decided of the rest of lot %s is being carried out: it is not divided any more", n.Lot)
	}
	left := c.quantity(rest)
	if left != nil && (left.Unit != n.Quantity.Unit || left.Rat().Cmp(n.Quantity.Rat()) < 0) {
		return p, fault.New(fault.Refused, "quantity-exceeded", "of lot %s no portion names %s: %s cannot be named out of it", n.Lot, left, n.Quantity).In("quantity")
	}
	p = lot.Portion{Lot: rest.Lot, LotCode: n.Lot, Label: n.Label, State: rest.State, Place: lot.InControl, Quantity: &n.Quantity.Amount, Unit: &n.Quantity.Unit,
		Pallet: orNil(n.Pallet), Tag: orNil(n.Tag), From: n.From, Until: n.Until}
	if p, err = lot.AddPortion(ctx, tx, p); err != nil {
		return p, err
	}
	return p, hold.Divide(ctx, tx, rest.ID, p, left != nil && left.Rat().Cmp(n.Quantity.Rat()) == 0)
}

// apartFrom refuses what would name the same product twice.
func (n NewPortion) apartFrom(o lot.Portion) error {
	switch {
	case o.Label == n.Label:
		return fault.New(fault.Conflict, "duplicate", "lot %s has a portion %s already", n.Lot, n.Label).In("portion")
	case n.Pallet != "" && orEmpty(o.Pallet) == n.Pallet:
		return fault.New(fault.Conflict, "portions-overlap", "pallet %s is portion %s already", n.Pallet, o.Label).In("pallet")
	case n.Tag != "" && orEmpty(o.Tag) == n.Tag:
		return fault.New(fault.Conflict, "portions-overlap", "tag %s is on portion %s already", n.Tag, o.Label).In("tag")
	case n.Pallet == "" && n.Tag == "" && n.From != nil && o.From != nil && n.From.Before(*o.Until) && o.From.Before(*n.Until):
		return fault.New(fault.Conflict, "portions-overlap", "portion %s was made in that time too: tell them apart by pallet or tag", o.Label).In("made_from")
	}
	return nil
}

// find returns a portion of a lot in doubt by its names.
func (c *docket) find(code, label string) (lot.Portion, error) {
	i := slices.IndexFunc(c.portions, func(p lot.Portion) bool { return p.LotCode == code && p.Label == label })
	if i >= 0 {
		return c.portions[i], nil
	}
	if !slices.ContainsFunc(c.findings, func(f Finding) bool { return f.Lot == code }) {
		return lot.Portion{}, fault.New(fault.NotFound, "unknown-lot", "deviation %d does not doubt a lot %s", c.d.ID, code).In("lot")
	}
	return lot.Portion{}, fault.New(fault.NotFound, "unknown-portion", "lot %s has no portion %q", code, label).In("portion")
}

func orNil(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
