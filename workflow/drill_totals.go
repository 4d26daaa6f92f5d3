package workflow

import (
	"cmp"
	"math/big"
	"slices"
	"strings"
	"time"

	"lastgood/policy/limit"
	"lastgood/policy/unit"
	"lastgood/workflow/hold"
)

// Totals are what a drill comes to, each lot counted once over all its reports.
type Totals struct {
	Instruments int   // whose readings would be in doubt
	Readings    int64 // looked at
	Lots        int   // in doubt, with what was made of them
	Verdicts    map[limit.Verdict]int
	NotJudged   int // lots that would be held wide, without a reading in doubt
	Held        Stock
	Shipped     Stock
	Shipments   int
	Consignees  []string
	Took        time.Duration
}

// Stock is an amount of product: each unit's sum, and how many amounts nobody
// knows.
type Stock struct {
	Lots       int
	Quantities []unit.Quantity
	Unknown    int
}

// summer adds reports up.
type summer struct {
	readings    int64
	instruments map[string]bool
	lots        map[string]limit.Verdict // the gravest; empty: not judged
	held        map[string]hold.Hold
	shipped     map[[2]string]Shipped
}

func newSummer() *summer {
	return &summer{instruments: map[string]bool{}, lots: map[string]limit.Verdict{}, held: map[string]hold.Hold{}, shipped: map[[2]string]Shipped{}}
}

func (s *summer) add(e *evidence, r Report) {
	s.readings += r.Run.Readings
	s.instruments[r.Run.Instrument] = true
	for _, l := range e.lots {
		s.lots[l.Code] = cmp.Or(s.lots[l.Code], "")
	}
	for _, a := range r.Run.Assessments {
		if v := s.lots[a.Lot]; v == "" || v.LessGrave(a.Result.Verdict) {
			s.lots[a.Lot] = a.Result.Verdict
		}
	}
	for _, h := range r.Holds {
		s.held[h.LotCode] = h
	}
	for _, g := range r.Shipped {
		s.shipped[[2]string{g.Lot, g.Shipment}] = g
	}
}

func (s *summer) totals() Totals {
	t := Totals{Instruments: len(s.instruments), Readings: s.readings, Lots: len(s.lots), Verdicts: map[limit.Verdict]int{},
		Shipments: len(s.shipped), Consignees: []string{}}
	for _, v := range s.lots {
		if v == "" {
			t.NotJudged++
			continue
		}
		t.Verdicts[v]++
	}
	var held, shipped adder
	for _, h := range s.held {
		held.add(h.LotCode, h.Quantity, h.Unit)
	}
	for _, g := range s.shipped {
		shipped.add(g.Lot, g.Quantity, g.Unit)
		if !slices.Contains(t.Consignees, g.Consignee) {
			t.Consignees = append(t.Consignees, g.Consignee)
		}
	}
	slices.Sort(t.Consignees)
	t.Held, t.Shipped = held.stock(), shipped.stock()
	return t
}

// adder sums amounts exactly, unit by unit.
type adder struct {
	sums    map[string]*big.Rat
	lots    map[string]bool
	unknown int
}

func (a *adder) add(code string, amount, of *string) {
	if a.sums == nil {
		a.sums, a.lots = map[string]*big.Rat{}, map[string]bool{}
	}
	a.lots[code] = true
	if amount == nil || of == nil {
		a.unknown++
		return
	}
	if a.sums[*of] == nil {
		a.sums[*of] = new(big.Rat)
	}
	a.sums[*of].Add(a.sums[*of], unit.Quantity{Amount: *amount, Unit: *of}.Rat())
}

func (a *adder) stock() Stock {
	s := Stock{Lots: len(a.lots), Quantities: []unit.Quantity{}, Unknown: a.unknown}
	for of, sum := range a.sums {
		s.Quantities = append(s.Quantities, unit.Quantity{Amount: digitsOf(sum), Unit: of})
	}
	slices.SortFunc(s.Quantities, func(a, b unit.Quantity) int { return strings.Compare(a.Unit, b.Unit) })
	return s
}

// digitsOf writes a sum of amounts of at most six decimals without loss.
func digitsOf(r *big.Rat) string {
	s := r.FloatString(6)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}
