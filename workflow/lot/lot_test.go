package lot_test

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"lastgood/workflow/fault"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
)

func TestNamedLotsAreMadeOnce(t *testing.T) {
	t.Parallel()
	s := open(t)
	first := s.ids("A", "B", "A", "")
	if len(first) != 2 || first["A"] == 0 || first["A"] == first["B"] {
		t.Fatalf("%v", first)
	}
	var all sync.WaitGroup
	for range 8 {
		all.Go(func() {
			if got := s.ids("B", "C", "A"); got["A"] != first["A"] || got["B"] != first["B"] || got["C"] == 0 {
				t.Errorf("%v, first %v", got, first)
			}
		})
	}
	all.Wait()
	if lots, portions := s.count("lot"), s.count("portion"); lots != 3 || portions != 3 {
		t.Errorf("%d lots with %d portions, want 3 with one each", lots, portions)
	}
}

func (s *store) count(table string) (n int) {
	s.Helper()
	s.tx(func(tx *pg.Tx) error { return tx.GetContext(s.Context(), &n, `select count(*) from `+table) })
	return n
}

func TestRegisteredAfterItWasNamed(t *testing.T) {
	t.Parallel()
	s := open(t)
	id := s.ids("A")["A"]
	s.made("A", "100", "kg")
	s.made("A", "100.0", "kg") // the same again
	var rows fault.Rows
	err := s.db.InTx(t.Context(), s.sc, func(tx *pg.Tx) error {
		_, err := lot.Add(t.Context(), tx, []lot.Lot{{Code: "A", Quantity: quantity("999", "kg")}})
		return err
	})
	if !errors.As(err, &rows) || rows[0].Rule != "conflict" || rows[0].Field != "quantity" {
		t.Errorf("registered with another quantity: %v", err)
	}
	if now := s.ids("A")["A"]; now != id {
		t.Errorf("number %d became %d", id, now)
	}
	if p := s.position(); p != "100 kg in control" {
		t.Error(p)
	}
	if n := s.count("portion"); n != 1 {
		t.Errorf("%d portions, want 1", n)
	}
}

// position says where A stands.
func (s *store) position() (says string) {
	s.Helper()
	id := s.ids("A")["A"]
	s.tx(func(tx *pg.Tx) error {
		m, err := lot.Positions(s.Context(), tx, []lot.ID{id})
		p, ok := m[id]
		if !ok {
			says = "nowhere"
			return err
		}
		says = "unknown"
		if p.Quantity != nil {
			says = *p.Quantity + " " + *p.Unit
		}
		says += map[bool]string{true: " in control", false: " gone"}[p.InControl]
		return err
	})
	return says
}

// in control = made − used − shipped. What cannot be summed counts as in
// control: too much is held, never too little.
func TestPositions(t *testing.T) {
	t.Parallel()
	type moves func(*store)
	ship := func(amount, of string) moves { return func(s *store) { s.gone("S-"+amount, amount, of) } }
	use := func(event, output, amount, of string) moves {
		return func(s *store) { s.turned(used(event, output, amount, of)) }
	}
	for name, c := range map[string]struct {
		made  string
		moves []moves
		want  string
	}{
		"nothing moved":                    {"100", nil, "100 kg in control"},
		"used and shipped":                 {"100", []moves{use("e", "B", "30.25", "kg"), ship("20", "kg")}, "49.75 kg in control"},
		"fully shipped":                    {"100", []moves{ship("60", "kg"), ship("40", "kg")}, "0 kg gone"},
		"fully used":                       {"100", []moves{use("e", "B", "60", "kg"), use("f", "B", "40", "kg")}, "0 kg gone"},
		"more shipped than was made":       {"100", []moves{ship("100.5", "kg")}, "unknown in control"},
		"shipped in another unit":          {"100", []moves{ship("10", "case")}, "unknown in control"},
		"used in another unit":             {"100", []moves{use("e", "B", "10", "case")}, "unknown in control"},
		"nobody knows how much was made":   {"", []moves{ship("10", "kg")}, "unknown in control"},
		"nobody knows how much went":       {"100", []moves{ship("", "")}, "unknown in control"},
		"nobody knows how much was used":   {"100", []moves{use("e", "B", "", ""), ship("100", "kg")}, "unknown in control"},
		"shares add up":                    {"100", []moves{use("e", "B", "60", "kg"), use("e", "C", "30", "kg")}, "10 kg in control"},
		"equal shares or one use repeated": {"100", []moves{use("e", "B", "100", "kg"), use("e", "C", "100", "kg")}, "unknown in control"},
		"two halves of all, or half twice": {"100", []moves{use("e", "B", "50", "kg"), use("e", "C", "50", "kg")}, "unknown in control"},
		"exact decimals":                   {"0.3", []moves{ship("0.1", "kg"), ship("0.2", "kg")}, "0.0 kg gone"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := open(t)
			s.made("A", c.made, "kg")
			for _, m := range c.moves {
				m(s)
			}
			if got := s.position(); got != c.want {
				t.Errorf("%s, want %s", got, c.want)
			}
		})
	}
}

func TestPositionIsWhereItStayedLast(t *testing.T) {
	t.Parallel()
	s := open(t)
	to := day(3)
	s.made("A", "1", "kg")
	s.tx(func(tx *pg.Tx) error {
		_, err := lot.AddStays(t.Context(), tx, []lot.Stay{{Lot: "A", Location: "cooler", From: day(4)}, {Lot: "A", Location: "store", From: day(2), To: &to}})
		return err
	})
	id := s.ids("A")["A"]
	var where string
	s.tx(func(tx *pg.Tx) error {
		m, err := lot.Positions(t.Context(), tx, []lot.ID{id})
		if err != nil || m[id].LocationID == nil {
			return errors.Join(err, tx.GetContext(t.Context(), &where, `select 'nowhere'`))
		}
		return tx.GetContext(t.Context(), &where, `select code from location where location_id = $1`, *m[id].LocationID)
	})
	if where != "cooler" {
		t.Errorf("it is in %s, want cooler", where)
	}
}

func TestShippedIsTold(t *testing.T) {
	t.Parallel()
	s := open(t)
	s.gone("S-2", "5", "kg")
	s.gone("S-1", "", "")
	s.gone("S-1", "", "") // the same again
	id := s.ids("A", "B")
	s.tx(func(tx *pg.Tx) error {
		list, err := lot.Shipped(t.Context(), tx, []lot.ID{id["A"], id["B"]})
		if len(list) != 2 || list[0].Shipment != "S-1" || list[0].Quantity != nil || *list[1].Quantity != "5" || list[1].Consignee != "a customer" {
			t.Errorf("%+v", list)
		}
		return err
	})
}

func TestDescendantsKnowWhereTheyComeFrom(t *testing.T) {
	t.Parallel()
	s := open(t)
	// A into B into D; A into C into D (commingled); E beside; D into F and, as rework, into G.
	s.turned(edges("A>B", "A>C", "B>D", "C>D", "D>F", "D>G", "E>D")...)
	for _, c := range []struct {
		of   []string
		want string
	}{
		{[]string{"A"}, "A<A B<A C<A D<A F<A G<A"},
		{[]string{"E"}, "D<E E<E F<E G<E"},
		{[]string{"A", "E"}, "A<A B<A C<A D<E E<E F<E G<E"}, // by the shortest way, at the same length the first
		{[]string{"F"}, "F<F"},
		{[]string{"D", "A"}, "A<A B<A C<A D<D F<D G<D"},
	} {
		if got := s.descendants(c.of...); strings.Join(got, " ") != c.want {
			t.Errorf("of %v: %v, want %s", c.of, got, c.want)
		}
	}
}

func TestNoLotIsMadeOfItself(t *testing.T) {
	t.Parallel()
	s := open(t)
	s.turned(edges("A>B", "B>C", "C>D")...)
	var rows fault.Rows
	if _, err := s.turn(edges("A>A")...); !errors.As(err, &rows) || rows[0].Rule != "cycle" {
		t.Errorf("a lot made of itself: %v", err)
	}
	for _, c := range []struct {
		edges []string
		row   int
		says  string
		lots  int // of the cycle
	}{
		{[]string{"B>A"}, 0, "B → A → B", 2},
		{[]string{"E>F", "D>A"}, 1, "D → A → B → C → D", 4}, // across calls
		{[]string{"E>F", "F>G", "G>E"}, 2, "G → E → F → G", 3},
		{[]string{"D>E", "E>B"}, 1, "E → B → C → D → E", 4},    // half recorded, half in the call
		{[]string{"A>X", "X>C", "C>A"}, 2, "C → A → B → C", 4}, // two ways
	} {
		aside, err := s.turn(edges(c.edges...)...)
		if err != nil || len(aside) != 1 || aside[0].Index != c.row || !aside[0].Fresh || len(aside[0].Lots) != c.lots || !strings.HasSuffix(aside[0].Detail, ": "+c.says) {
			t.Errorf("%v: %+v, %v, want row %d: %s", c.edges, aside, err, c.row, c.says)
		}
		again, err := s.turn(edges(c.edges...)...)
		if err != nil || len(again) != 1 || again[0].Fresh || len(aside) == 1 && again[0].ID != aside[0].ID {
			t.Errorf("%v again: %+v, %v", c.edges, again, err)
		}
	}
	if n := s.count("transformation"); n != 8 {
		t.Errorf("%d edges are stored, want 8", n)
	}
	other := edges("B>A")[0]
	other.At = day(5)
	if _, err := s.turn(other); !errors.As(err, &rows) || rows[0].Rule != "conflict" {
		t.Errorf("in quarantine with another time: %v", err)
	}
	s.turned(edges("A>B", "A>D")...) // an edge again, and a short cut
}

// The lots of a cycle are one mixed lot until somebody rejects the row that would
// close it.
func TestCycleIsOneMixedLot(t *testing.T) {
	t.Parallel()
	s := open(t)
	s.turned(edges("A>B", "B>C", "C>D", "X>A")...)
	aside, err := s.turn(edges("C>A")...)
	if err != nil || len(aside) != 1 {
		t.Fatal(aside, err)
	}
	if got := strings.Join(s.descendants("C"), " "); got != "A<C B<C C<C D<C" {
		t.Errorf("of C: %s", got)
	}
	decide := func(r lot.Ruling) error {
		return s.db.InTx(t.Context(), s.sc, func(tx *pg.Tx) error {
			_, err := lot.Resolve(t.Context(), tx, aside[0].ID, lot.Resolution{Ruling: r, Reason: "looked", DecidedBy: "qa-1"})
			return err
		})
	}
	if err := decide(lot.Rejected); err != nil {
		t.Fatal(err)
	}
	if got := strings.Join(s.descendants("C"), " "); got != "C<C D<C" {
		t.Errorf("of C, rejected: %s", got)
	}
	if err := decide(lot.AcceptedAsCommingled); fault.KindOf(err) != fault.Conflict {
		t.Errorf("a second decision: %v", err)
	}
}

func TestLongChainsEnd(t *testing.T) {
	t.Parallel()
	s := open(t)
	var chain []lot.Transformation
	const n = 200
	for i := range n {
		chain = append(chain, lot.Transformation{Event: "rework", At: day(1), Input: fmt.Sprint("L", i), Output: fmt.Sprint("L", i+1)})
	}
	s.turned(chain...)
	if got := s.descendants("L0"); len(got) != n+1 {
		t.Errorf("%d lots, want %d", len(got), n+1)
	}
	aside, err := s.turn(lot.Transformation{Event: "rework", At: day(2), Input: fmt.Sprint("L", n), Output: "L0"})
	if err != nil || len(aside) != 1 || len(aside[0].Lots) != n+1 {
		t.Errorf("the chain was closed: %v", err)
	}
}

// Two writers that would close a cycle together: the row of one is put aside.
func TestCycleByTwoWriters(t *testing.T) {
	t.Parallel()
	s := open(t)
	aside, errs := make([][]lot.Quarantined, 2), make([]error, 2)
	var both sync.WaitGroup
	for i, e := range []string{"A>B", "B>A"} {
		both.Go(func() { aside[i], errs[i] = s.turn(edges(e)...) })
	}
	both.Wait()
	if errors.Join(errs...) != nil || len(aside[0])+len(aside[1]) != 1 {
		t.Errorf("%v, %v: want one put aside", aside, errs)
	}
}

// The same row twice is one; two rows that contradict each other are refused.
func TestTwiceInOneList(t *testing.T) {
	t.Parallel()
	to := day(2)
	stay, ended := lot.Stay{Lot: "A", Location: "cooler", From: day(1), To: &to}, day(3)
	longer := stay
	longer.To = &ended
	shipment := lot.Shipment{Shipment: "S", Lot: "A", ShippedAt: day(1), Consignee: "a customer"}
	elsewhere := shipment
	elsewhere.Consignee = "another"
	edge := edges("A>B")[0]
	later := edge
	later.At = day(9)
	for name, add := range map[string]func(tx *pg.Tx, again bool) (int, error){
		"lot": func(tx *pg.Tx, again bool) (int, error) {
			return added(lot.Add(t.Context(), tx, list(again, lot.Lot{Code: "A"}, lot.Lot{Code: "A", Quantity: quantity("1", "kg")})))
		},
		"stay": func(tx *pg.Tx, again bool) (int, error) {
			return added(lot.AddStays(t.Context(), tx, list(again, stay, longer)))
		},
		"shipment": func(tx *pg.Tx, again bool) (int, error) {
			return added(lot.AddShipments(t.Context(), tx, list(again, shipment, elsewhere)))
		},
		"transformation": func(tx *pg.Tx, again bool) (int, error) {
			fresh, _, err := lot.AddTransformations(t.Context(), tx, list(again, edge, later))
			return len(fresh), err
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			s := open(t)
			var rows fault.Rows
			err := s.db.InTx(t.Context(), s.sc, func(tx *pg.Tx) error { _, err := add(tx, false); return err })
			if !errors.As(err, &rows) || rows[0].Index != 1 || rows[0].Kind != fault.Conflict {
				t.Errorf("contradicting: %v", err)
			}
			for _, want := range []int{1, 0} {
				s.tx(func(tx *pg.Tx) error {
					n, err := add(tx, true)
					if n != want {
						t.Errorf("%d are new, want %d", n, want)
					}
					return err
				})
			}
		})
	}
}

// list is a row twice, or a row and one that contradicts it.
func list[T any](again bool, row, contradicts T) []T {
	if again {
		return []T{row, row}
	}
	return []T{row, contradicts}
}

func added[T any](fresh []T, err error) (int, error) { return len(fresh), err }
