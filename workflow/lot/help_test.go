package lot_test

import (
	"fmt"
	"os"
	"slices"
	"testing"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/actor"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// store is an invented plant's product.
type store struct {
	*testing.T
	db *pg.DB
	sc pg.Scope
}

func open(t *testing.T) *store {
	t.Helper()
	db, err := pg.Open(t.Context(), pgtest.DB(t).App, func() time.Time { return day(28) })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	id, err := db.CreatePlant(t.Context(), "Alder Hill", "UTC", nil)
	if err != nil {
		t.Fatal(err)
	}
	return &store{t, db, pg.Scope{Plant: id, By: actor.Actor{ID: "erp", Kind: actor.Key}}}
}

func day(d int) time.Time { return time.Date(2025, 3, d, 0, 0, 0, 0, time.UTC) }

func (s *store) tx(f func(*pg.Tx) error) {
	s.Helper()
	if err := s.db.InTx(s.Context(), s.sc, f); err != nil {
		s.Fatal(err)
	}
}

// ids returns the numbers of lots, by code, making those that are new.
func (s *store) ids(codes ...string) (m map[string]lot.ID) {
	s.Helper()
	s.tx(func(tx *pg.Tx) (err error) { m, err = lot.Intern(s.Context(), tx, codes); return err })
	return m
}

func quantity(amount, of string) *unit.Quantity {
	if amount == "" {
		return nil
	}
	return &unit.Quantity{Amount: amount, Unit: of}
}

// made registers a lot; an empty amount is an unknown quantity.
func (s *store) made(code, amount, of string) {
	s.Helper()
	s.tx(func(tx *pg.Tx) error {
		_, err := lot.Add(s.Context(), tx, []lot.Lot{{Code: code, Quantity: quantity(amount, of)}})
		return err
	})
}

// edges are transformations of unknown quantity, written "A>B".
func edges(list ...string) (out []lot.Transformation) {
	for _, e := range list {
		out = append(out, lot.Transformation{Event: "batch", At: day(1), Input: e[:1], Output: e[2:]})
	}
	return out
}

// turn records transformations and returns what was put aside.
func (s *store) turn(list ...lot.Transformation) (aside []lot.Quarantined, err error) {
	s.Helper()
	err = s.db.InTx(s.Context(), s.sc, func(tx *pg.Tx) (err error) {
		if err := tx.OwnGenealogy(s.Context()); err != nil {
			return err
		}
		_, aside, err = lot.AddTransformations(s.Context(), tx, list)
		return err
	})
	return aside, err
}

func (s *store) turned(list ...lot.Transformation) {
	s.Helper()
	if aside, err := s.turn(list...); err != nil || len(aside) > 0 {
		s.Fatal(aside, err)
	}
}

// used is some of A that went into another lot at an event.
func used(event, output, amount, of string) lot.Transformation {
	return lot.Transformation{Event: event, At: day(2), Input: "A", Output: output, InputQuantity: quantity(amount, of), OutputQuantity: quantity(amount, of)}
}

// gone records a shipment of A.
func (s *store) gone(shipment, amount, of string) {
	s.Helper()
	s.tx(func(tx *pg.Tx) error {
		_, err := lot.AddShipments(s.Context(), tx, []lot.Shipment{{Shipment: shipment, Lot: "A", Quantity: quantity(amount, of), ShippedAt: day(3), Consignee: "a customer"}})
		return err
	})
}

// descendants returns "lot<because", sorted.
func (s *store) descendants(of ...string) (out []string) {
	s.Helper()
	m := s.ids(of...)
	var start []lot.ID
	for _, c := range of {
		start = append(start, m[c])
	}
	s.tx(func(tx *pg.Tx) error {
		because, order, err := lot.Descendants(s.Context(), tx, start)
		if err != nil {
			return err
		}
		known, err := lot.Get(s.Context(), tx, order)
		for _, id := range order {
			out = append(out, fmt.Sprintf("%s<%s", known[id].Code, known[because[id]].Code))
		}
		return err
	})
	slices.Sort(out)
	return out
}
