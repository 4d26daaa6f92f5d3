package workflow

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

// Ledger is the consignee ledger of a deviation, to be handed out as it stands. It
// needs no recall: who asks for the distribution list gets it before.
type Ledger struct {
	Lines  []Consignment
	Zone   *time.Location
	MadeAt time.Time
}

// Ledger returns the consignee ledger of a deviation.
func (s *Service) Ledger(ctx context.Context, sc pg.Scope, id DeviationID) (Ledger, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (l Ledger, err error) {
		c, err := docketAt(ctx, tx, id)
		if err != nil {
			return l, err
		}
		k, err := recallOf(ctx, tx, c)
		if k == nil {
			k = &desk{c: c}
		}
		if err != nil {
			return l, err
		}
		l.Lines, l.MadeAt = k.consignments(), tx.Now
		l.Zone, err = zoneOf(ctx, tx)
		return l, err
	})
}

// CallSheet is what the FSIS District Office is told: four facts, and no fifth (9
// CFR 418.2, row FS-16).
type CallSheet struct {
	Type        []string // of product, with its lots
	Amount      []string // by unit
	Origin      string
	Destination []string
	Missing     []string // what nobody has recorded
}

// CallSheet returns the four facts of product in doubt that has left.
func (s *Service) CallSheet(ctx context.Context, sc pg.Scope, id DeviationID) (CallSheet, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (out CallSheet, err error) {
		c, err := docketAt(ctx, tx, id)
		if err != nil {
			return out, err
		}
		if err := tx.GetContext(ctx, &out.Origin, `select name from plant where plant_id = $1`, tx.Plant); err != nil {
			return out, fmt.Errorf("plant: %w", err)
		}
		var ids []lot.ID
		for _, l := range c.left() {
			ids = append(ids, l.lot)
		}
		products, err := productsOf(ctx, tx, ids)
		if err != nil {
			return out, err
		}
		out.fill(c.left(), products)
		return out, nil
	})
}

func (s *CallSheet) fill(left []Left, products map[lot.ID]*string) {
	sums := map[string]string{}
	missing := func(format string, args ...any) { s.Missing = append(s.Missing, fmt.Sprintf(format, args...)) }
	for _, l := range left {
		if p := products[l.lot]; p != nil {
			s.Type = append(s.Type, *p+", lot "+l.Lot)
		} else {
			missing("type of product of lot %s", l.Lot)
		}
		if l.Quantity != nil && l.Unit != nil {
			addTo(sums, *l.Unit, *l.Quantity)
		} else {
			missing("amount of %s", l.named())
		}
		if l.Consignee != "" {
			s.Destination = append(s.Destination, l.Consignee)
		} else {
			missing("destination of %s", l.named())
		}
	}
	for in, amount := range sums {
		s.Amount = append(s.Amount, strings.TrimSpace(amount+" "+in))
	}
	for _, list := range []*[]string{&s.Type, &s.Amount, &s.Destination, &s.Missing} {
		slices.Sort(*list)
		*list = slices.Compact(*list)
	}
	if len(left) == 0 {
		missing("nothing in doubt is known to have left")
	}
}
