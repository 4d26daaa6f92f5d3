package balance

import (
	"slices"
	"testing"
)

// sound is a ledger without a fault: 1000 kg, two pallets destroyed, the rest
// released by time of production.
func sound() Ledger {
	pallet := func(id, sscc string) Portion {
		p := all(id, Destroyed, "200 kg")
		p.Mark = Mark{Pallet: sscc, Tag: id}
		return p
	}
	return Ledger{
		Lot: "L-7", Unit: "kg",
		Conversions: []Conversion{{Unit: "case", Is: q("12.5 kg"), Source: "label"}},
		Entries: []Entry{
			{Kind: Made, Ref: "order 7", Quantity: q("990 kg"), Source: "planner", Also: []Count{{"scale", q("990.5 kg")}}},
			{Kind: BroughtIn, Quantity: q("10 kg")},
			{Kind: InControl, Quantity: q("64 case")}, {Kind: Shipped, Quantity: q("150 kg")},
			{Kind: Sampled, Quantity: q("20 kg")}, {Kind: Lost, Quantity: q("20 kg")}, {Kind: ReworkedOut, Quantity: q("10 kg")},
		},
		// SSCCs with right check digits, of a made-up company
		Portions: []Portion{pallet("P1", "340123450000000017"), pallet("P2", "340123450000000024"), all("P3", Released, "600 kg")},
	}
}

// TestEveryRule breaks a sound ledger in one way each, and every rule is broken
// by some way.
func TestEveryRule(t *testing.T) {
	t.Parallel()
	if s, found := Balance(sound(), DefaultTolerance()); s.Closing != Closes {
		t.Fatalf("the sound ledger: %s\n%s", s.Closing, sentences(found))
	}
	seen := map[Rule]bool{}
	for _, c := range []struct {
		name  string
		spoil func(*Ledger)
		want  []Rule
	}{
		{"a shipment is missing", func(l *Ledger) { l.Entries = slices.Delete(l.Entries, 3, 4) }, []Rule{LotNotBalanced}},
		{"nothing was made", func(l *Ledger) { *l = Ledger{Lot: "L", Unit: "kg"} }, []Rule{LotNotBalanced}},
		{"an entry of no kind", func(l *Ledger) { l.Entries[3].Kind = "gone" }, []Rule{LotNotBalanced}},
		{"more in doubt than there is", func(l *Ledger) {
			l.InDoubt = at("1100 kg")
			l.Portions = append(l.Portions, all("P4", Released, "100 kg"))
		}, []Rule{DoubtExceedsLot}},
		{"a proposal for a part", func(l *Ledger) { l.Portions[2].Decisions[0] = done(Released, "595 kg") }, []Rule{ProposalsNotWhole}},
		{"a proposal too many", func(l *Ledger) {
			l.Portions[2].Decisions = append(l.Portions[2].Decisions, done(Destroyed, "5 kg"))
		}, []Rule{ProposalsNotWhole}},
		{"no proposal", func(l *Ledger) { l.Portions[0].Decisions = nil }, []Rule{NoDisposition}},
		{"no disposition that there is", func(l *Ledger) { l.Portions[0].Decisions[0].Fate = "sold" }, []Rule{ProposalsNotWhole, NoDisposition}},
		{"one pallet in two portions", func(l *Ledger) { l.Portions[1].Mark = Mark{Pallet: " " + l.Portions[0].Mark.Pallet} }, []Rule{Overlap}},
		{"a pallet and a time of production", func(l *Ledger) {
			l.Portions[2].Mark = Mark{From: hour(6), Until: hour(8)}
		}, []Rule{NotToldApart}},
		{"a time that ends before it begins", func(l *Ledger) { l.Portions[2].Mark = Mark{From: hour(8), Until: hour(6)} }, []Rule{MarkNotUsable}},
		{"a time with one end", func(l *Ledger) { l.Portions[2].Mark = Mark{From: hour(8)} }, []Rule{MarkNotUsable}},
		{"a portion without a name", func(l *Ledger) { l.Portions[2].ID = " " }, []Rule{MarkNotUsable}},
		{"a portion is missing", func(l *Ledger) { l.Portions = l.Portions[1:] }, []Rule{DoubtNotCovered, Unaccounted}},
		{"a portion too many", func(l *Ledger) { l.Portions = append(l.Portions, all("P4", Released, "50 kg")) }, []Rule{DoubtNotCovered, Unaccounted}},
		{"a negative entry", func(l *Ledger) { l.Entries[0].Also[0].Quantity = q("-5 kg") }, []Rule{Negative}},
		{"an amount that is none", func(l *Ledger) { l.Entries[0].Also[0].Quantity = q("ten kg") }, []Rule{NotAQuantity}},
		{"a conversion to nothing", func(l *Ledger) { l.Conversions = append(l.Conversions, Conversion{Unit: "tub", Is: q("0 kg")}) }, []Rule{NotAQuantity}},
		{"a name comes twice", func(l *Ledger) { l.Portions[1].ID = "P1" }, []Rule{PortionTwice}},
		{"a portion is there twice", func(l *Ledger) {
			l.InDoubt = at("800 kg")
			l.Portions = []Portion{l.Portions[0], l.Portions[0], all("P3", Released, "400 kg")}
		}, []Rule{PortionTwice}},
		{"reworked into nowhere", func(l *Ledger) { l.Portions[0].Decisions[0].Fate = Reworked }, []Rule{ReworkNotReceived}},
		{"the receiving lot knows of no input", func(l *Ledger) {
			l.Portions[0] = all("P1", Reworked, "200 kg")
			l.Portions[0].Decisions[0].Into.Input = nil
		}, []Rule{ReworkNotReceived}},
		{"the receiving lot has another input", func(l *Ledger) {
			l.Portions[0] = all("P1", Reworked, "200 kg")
			l.Portions[0].Decisions[0].Into.Input = at("150 kg")
		}, []Rule{ReworkNotReceived}},
		{"diluted", func(l *Ledger) {
			l.Portions[0] = all("P1", Reworked, "200 kg")
			l.Portions[0].Decisions[0].Into.Because = Dilution
		}, []Rule{ReworkNotFollowed}},
		{"nothing said of the receiving lot", func(l *Ledger) {
			l.Portions[0] = all("P1", Reworked, "200 kg")
			l.Portions[0].Decisions[0].Into.Because = ""
		}, []Rule{ReworkNotFollowed}},
		{"a unit without a conversion", func(l *Ledger) { l.Entries[0].Also[0].Quantity = q("4 tub") }, []Rule{NoConversion}},
		{"no unit", func(l *Ledger) { l.Entries[0].Also[0].Quantity = q("990") }, []Rule{NoConversion}},
		{"a case weighs two things", func(l *Ledger) {
			l.Conversions = append(l.Conversions, Conversion{Unit: "case", Is: q("12 kg"), Source: "planner"})
		}, []Rule{LotNotBalanced, NoConversion, ConversionsDisagree}},
		{"two ways to a unit disagree", func(l *Ledger) {
			l.Conversions = append(l.Conversions, Conversion{Unit: "layer", Is: q("8 case")}, Conversion{Unit: "layer", Is: q("99 kg")})
		}, []Rule{LotNotBalanced, NoConversion, ConversionsDisagree}},
		{"the scale disagrees with the planner", func(l *Ledger) { l.Entries[0].Also[0].Quantity = q("950 kg") }, []Rule{SourcesDisagree}},
		{"the warehouse counted fewer cases of a portion", func(l *Ledger) {
			l.Portions[2].Also = []Count{{"warehouse", q("46 case")}}
		}, []Rule{SourcesDisagree}},
		{"carried out for less", func(l *Ledger) { l.Portions[0].Decisions[0].Done = at("150 kg") }, []Rule{Unaccounted, ExecutionDiffers}},
		{"less of one and more of another", func(l *Ledger) {
			l.Portions[0].Decisions[0].Done, l.Portions[1].Decisions[0].Done = at("150 kg"), at("250 kg")
		}, []Rule{ExecutionDiffers}},
		{"not yet carried out", func(l *Ledger) { l.Portions[0].Decisions[0].Done = nil }, []Rule{NotExecuted}},
		{"unrecoverable, nobody knows why", func(l *Ledger) { l.Portions[0].Decisions[0].Fate = Unrecoverable }, []Rule{NoReason}},
		{"retrieved and left", func(l *Ledger) { l.Portions[0] = all("P1", Retrieved, "200 kg") }, []Rule{RetrievedUndecided}},
		{"retrieved and decided in part", func(l *Ledger) {
			l.Portions[0] = all("P1", Retrieved, "200 kg")
			l.Portions[0].Decisions[0].Then = []Decision{done(Destroyed, "150 kg")}
		}, []Rule{RetrievedUndecided}},
		{"retrieved twice", func(l *Ledger) {
			l.Portions[0] = all("P1", Retrieved, "200 kg")
			l.Portions[0].Decisions[0].Then = []Decision{done(Retrieved, "200 kg")}
		}, []Rule{RetrievedUndecided}},
		{"a second disposition of what was destroyed", func(l *Ledger) {
			l.Portions[0].Decisions[0].Then = []Decision{done(Released, "200 kg")}
		}, []Rule{RetrievedUndecided}},
	} {
		l := sound()
		c.spoil(&l)
		s, found := Balance(l, DefaultTolerance())
		for _, f := range found {
			seen[f.Rule] = true
			if f.Detail == "" || f.Clause == "" || f.Code == "" {
				t.Errorf("%s: the finding lacks a word: %+v", c.name, f)
			}
		}
		for _, r := range c.want {
			if !has(found, r) {
				t.Errorf("%s: no finding %s in\n%s", c.name, r, sentences(found))
			}
		}
		if len(broken(found)) != len(c.want) || s.Closing != CannotClose {
			t.Errorf("%s: %s, want only %v\n%s", c.name, s.Closing, c.want, sentences(found))
		}
	}
	for _, r := range rows {
		if !seen[r.rule] {
			t.Errorf("no case breaks the rule %s", r.rule)
		}
	}
}

// TestMarks: what tells two portions apart.
func TestMarks(t *testing.T) {
	t.Parallel()
	from, middle, until := hour(6), hour(8), hour(10)
	for _, c := range []struct {
		name string
		a, b Mark
		want relation
	}{
		{"two quantities", Mark{}, Mark{}, separate},
		{"a pallet and a quantity of the rest", Mark{Pallet: "1"}, Mark{}, separate},
		{"two pallets", Mark{Pallet: "1"}, Mark{Pallet: "2"}, separate},
		{"one pallet", Mark{Pallet: "1"}, Mark{Pallet: "1"}, overlapping},
		{"two tags on one pallet", Mark{Pallet: "1", Tag: "a"}, Mark{Pallet: "1", Tag: "b"}, separate},
		{"one tag", Mark{Tag: "a"}, Mark{Tag: "a", Pallet: "2"}, overlapping},
		{"a tag and a pallet", Mark{Tag: "a"}, Mark{Pallet: "2"}, unclear},
		{"one after the other", Mark{From: from, Until: middle}, Mark{From: middle, Until: until}, separate},
		{"an hour in both", Mark{From: from, Until: until}, Mark{From: middle, Until: until}, overlapping},
		{"a pallet and a time", Mark{Pallet: "1"}, Mark{From: from, Until: until}, unclear},
		{"one pallet at two times", Mark{Pallet: "1", From: from, Until: middle}, Mark{Pallet: "1", From: middle, Until: until}, separate},
	} {
		if got, back := relate(&c.a, &c.b), relate(&c.b, &c.a); got != c.want || back != c.want {
			t.Errorf("%s: %d and %d, want %d", c.name, got, back, c.want)
		}
	}
}
