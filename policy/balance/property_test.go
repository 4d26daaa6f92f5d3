package balance

import (
	"fmt"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"lastgood/policy/unit"
)

// grams writes a whole number of grams as kilograms.
func grams(n int) string { return Decimal(big.NewRat(int64(n), 1000)) + " kg" }

// drawn is a lot whose ledger adds up to the gram, and its size in grams.
func drawn(t *rapid.T) (Ledger, int) {
	l := Ledger{Lot: "L", Unit: "kg", Conversions: []Conversion{{Unit: "case", Is: q("2.4 kg")}, {Unit: "pallet", Is: q("40 case")}}}
	total := 0
	for i := range rapid.IntRange(1, 8).Draw(t, "portions") {
		n := rapid.IntRange(1, 5_000_000).Draw(t, "grams")
		total += n
		l.Portions = append(l.Portions, all(fmt.Sprintf("P%02d", i), rapid.SampledFrom(fates).Draw(t, "fate"), grams(n)))
		if d := &l.Portions[i].Decisions[0]; d.Fate == Retrieved {
			part := rapid.IntRange(0, n).Draw(t, "second")
			d.Then = []Decision{done(Destroyed, grams(part)), done(Diverted, grams(n-part))}
		}
	}
	shipped := rapid.IntRange(0, total).Draw(t, "shipped")
	l.Entries = []Entry{
		{Kind: Made, Quantity: q(grams(total))},
		{Kind: Shipped, Quantity: q(grams(shipped))}, {Kind: InControl, Quantity: q(grams(total - shipped))},
	}
	return l, total
}

// same compares what two ledgers say.
func same(t *rapid.T, what string, x, y Ledger, tol Tolerance) {
	t.Helper()
	s, f := Balance(x, tol)
	u, g := Balance(y, tol)
	if d := cmp.Diff(s, u, exactly); d != "" {
		t.Fatalf("%s changes the statement:\n%s", what, d)
	}
	if d := cmp.Diff(broken(f), broken(g)); d != "" {
		t.Fatalf("%s changes the findings:\n%s\n%s%s", what, d, sentences(f), sentences(g))
	}
}

// missing takes some grams away from the last portion.
func missing(l *Ledger, n int) (less int) {
	p := &l.Portions[len(l.Portions)-1]
	had := p.Quantity.Rat()
	less = min(n, int(had.Mul(had, big.NewRat(1000, 1)).Num().Int64()))
	left := p.Quantity.Rat()
	left.Sub(left, big.NewRat(int64(less), 1000))
	kept := all(p.ID, Released, Decimal(left)+" kg")
	l.Portions[len(l.Portions)-1] = kept
	return less
}

// TestAnySplitBalancesTheSame: cutting a portion in two, or a decision in two,
// changes nothing.
func TestAnySplitBalancesTheSame(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l, _ := drawn(t)
		i := rapid.IntRange(0, len(l.Portions)-1).Draw(t, "portion")
		p := l.Portions[i]
		whole := p.Quantity.Rat()
		share := big.NewRat(int64(rapid.IntRange(0, 1000).Draw(t, "share")), 1000)
		one := Decimal(share.Mul(share, whole)) + " kg"
		if _, err := unit.ParseQuantity(q(one).Amount, "kg"); err != nil {
			t.Fatal(err)
		}
		other := whole.Sub(whole, q(one).Rat())
		fate := p.Decisions[0].Fate
		if fate == Retrieved {
			fate = Destroyed
			l.Portions[i] = all(p.ID, Destroyed, p.Quantity.String())
		}
		split := l
		split.Portions = slices.Clone(l.Portions)
		if rapid.Bool().Draw(t, "within") {
			split.Portions[i].Decisions = []Decision{done(fate, one), done(fate, Decimal(other)+" kg")}
		} else {
			split.Portions[i] = all(p.ID, fate, one)
			split.Portions = append(split.Portions, all(p.ID+" second", fate, Decimal(other)+" kg"))
		}
		same(t, "a split", l, split, Tolerance{})
	})
}

// TestOrderDoesNotMatter: neither of entries, portions, decisions, conversions
// nor sources, in a ledger with faults.
func TestOrderDoesNotMatter(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l, total := drawn(t)
		missing(&l, rapid.IntRange(0, total).Draw(t, "missing"))
		for i := range l.Portions {
			p := &l.Portions[i]
			p.Mark.Pallet = rapid.SampledFrom([]string{"", "1", "2"}).Draw(t, "pallet")
			p.Mark.Tag = rapid.SampledFrom([]string{"", "a"}).Draw(t, "tag")
			p.Also = []Count{{"scale", q(grams(rapid.IntRange(0, total).Draw(t, "scale")))}, {"warehouse", q("3 case")}, {"other", q("1 tub")}}
			p.ID = rapid.SampledFrom([]string{p.ID, "P00"}).Draw(t, "name")
		}
		l.Conversions = append(l.Conversions, Conversion{Unit: "pallet", Is: q(rapid.SampledFrom([]string{"96 kg", "97 kg"}).Draw(t, "pallet weighs"))})
		mixed := l
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "order"), 1))
		mixed.Entries, mixed.Portions, mixed.Conversions = shuffled(r, l.Entries), shuffled(r, l.Portions), shuffled(r, l.Conversions)
		for i, p := range mixed.Portions {
			mixed.Portions[i].Decisions, mixed.Portions[i].Also = shuffled(r, p.Decisions), shuffled(r, p.Also)
		}
		_, f := Balance(l, Tolerance{Percent: "1"})
		_, g := Balance(mixed, Tolerance{Percent: "1"})
		if d := cmp.Diff(f, g, exactly); d != "" {
			t.Fatalf("another order gives other findings:\n%s", d)
		}
		same(t, "another order", l, mixed, Tolerance{Percent: "1"})
	})
}

func shuffled[T any](r *rand.Rand, list []T) []T {
	out := slices.Clone(list)
	r.Shuffle(len(out), func(i, j int) { out[i], out[j] = out[j], out[i] })
	return out
}

// TestAddingWhatWasMissingCloses: whatever is missing beyond the tolerance keeps
// the ledger open, exactly so much is unaccounted, and finding it closes.
func TestAddingWhatWasMissingCloses(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l, total := drawn(t)
		if s, f := Balance(l, Tolerance{}); s.Closing != Closes {
			t.Fatalf("a ledger that adds up: %s\n%s", s.Closing, sentences(f))
		}
		less := missing(&l, rapid.IntRange(1, total).Draw(t, "missing"))
		s, _ := Balance(l, Tolerance{})
		if s.Closing != CannotClose || s.Unaccounted.Cmp(big.NewRat(int64(less), 1000)) != 0 {
			t.Fatalf("%d g are missing: %s, unaccounted %s", less, s.Closing, Decimal(s.Unaccounted))
		}
		if s, _ := Balance(l, Tolerance{Percent: "100"}); s.Closing != ClosesWhenSigned {
			t.Fatalf("with everything allowed, what is missing is signed for: %s", s.Closing)
		}
		l.Portions = append(l.Portions, all("found", rapid.SampledFrom([]Fate{Released, Destroyed, Unrecoverable, Samples}).Draw(t, "fate"), grams(less)))
		if s, f := Balance(l, Tolerance{}); s.Closing != Closes {
			t.Fatalf("what was missing is there: %s\n%s", s.Closing, sentences(f))
		}
	})
}

// TestNothingNegative: no line is ever below zero, and a negative quantity
// anywhere is a finding and takes nothing away.
func TestNothingNegative(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l, _ := drawn(t)
		i := rapid.IntRange(0, len(l.Portions)-1).Draw(t, "portion")
		minus := q("-" + grams(rapid.IntRange(0, 9_000_000).Draw(t, "grams")))
		d := &l.Portions[i].Decisions[0]
		where := rapid.IntRange(0, 4).Draw(t, "where")
		switch where {
		case 0:
			l.Entries[0].Quantity = minus
		case 1:
			l.Portions[i].Quantity = minus
		case 2:
			d.Quantity = minus
		case 3:
			d.Done = &minus
		case 4:
			l.InDoubt = &minus
		}
		s, f := Balance(l, Tolerance{Percent: "100"})
		if !has(f, Negative) || s.Closing != CannotClose {
			t.Fatalf("a negative quantity (%d): %s\n%s", where, s.Closing, sentences(f))
		}
		for _, line := range append(s.Lines, Line{"undecided", s.Undecided}, Line{"made", s.From}, Line{"is", s.Where}, Line{"retrieved", s.Retrieved}) {
			if line.Amount.Sign() < 0 {
				t.Fatalf("%s is %s", line.Fate, Decimal(line.Amount))
			}
		}
	})
}

// TestUnitsChangeNothing: the same quantities in cases, or the same ledger
// balanced in cases, say the same; there and back again is where one was.
func TestUnitsChangeNothing(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l, _ := drawn(t)
		for i := range l.Entries { // whole cases of 2.4 kg
			l.Entries[i].Quantity = times(l.Entries[i].Quantity, "2.4")
		}
		cases := l
		cases.Portions = slices.Clone(l.Portions)
		for i, p := range l.Portions {
			fate := p.Decisions[0].Fate
			if fate == Retrieved {
				fate = Destroyed
			}
			l.Portions[i] = all(p.ID, fate, times(p.Quantity, "2.4").String())
			cases.Portions[i] = all(p.ID, fate, p.Quantity.Amount+" case")
		}
		same(t, "writing the portions in cases", l, cases, Tolerance{Percent: "0.1"})

		in, _ := Balance(l, Tolerance{Percent: "0.1"})
		cases.Unit = "case"
		out, f := Balance(cases, Tolerance{Percent: "0.1"})
		if in.Closing != out.Closing || in.InDoubt.Cmp(new(big.Rat).Mul(out.InDoubt, rat("2.4"))) != 0 {
			t.Fatalf("balanced in cases: %s of %s, in kilograms %s of %s\n%s", out.Closing, Decimal(out.InDoubt), in.Closing, Decimal(in.InDoubt), sentences(f))
		}
	})
}

func times(v unit.Quantity, factor string) unit.Quantity {
	r := v.Rat()
	return unit.Quantity{Amount: Decimal(r.Mul(r, rat(factor))), Unit: v.Unit}
}

// TestMoreToleranceNeverBlocks, and never allows what a finding without a
// tolerance blocks.
func TestMoreToleranceNeverBlocks(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l, total := drawn(t)
		missing(&l, rapid.IntRange(0, total).Draw(t, "missing"))
		l.Entries[0].Also = []Count{{"scale", q(grams(rapid.IntRange(0, total).Draw(t, "scale")))}}
		percent := []int{rapid.IntRange(0, 100).Draw(t, "percent"), rapid.IntRange(0, 100).Draw(t, "percent")}
		slices.Sort(percent)
		_, strict := Balance(l, Tolerance{Percent: fmt.Sprint(percent[0])})
		_, loose := Balance(l, Tolerance{Percent: fmt.Sprint(percent[1])})
		for _, f := range loose {
			if !has(strict, f.Rule) {
				t.Fatalf("%d %% has a finding that %d %% has not: %s", percent[1], percent[0], f.Detail)
			}
		}
	})
}

// TestHostileText: any text for any amount or unit gives an answer, and closes
// nothing.
func TestHostileText(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		l, _ := drawn(t)
		amount := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "1e9", "1/3", "NaN", "Inf", "0x10", "1_0", "٣", "1 "})).Draw(t, "amount")
		if _, err := unit.ParseQuantity(amount, "kg"); err == nil {
			t.Skip("an amount")
		}
		l.Portions[0].Decisions[0].Done = &unit.Quantity{Amount: amount, Unit: rapid.SampledFrom([]string{"kg", "case", ""}).Draw(t, "unit")}
		if s, f := Balance(l, DefaultTolerance()); s.Closing != CannotClose || len(f) == 0 {
			t.Fatalf("%q: %s", amount, s.Closing)
		}
	})
}

func BenchmarkBalance(b *testing.B) {
	l := Ledger{Lot: "L", Unit: "kg", Conversions: []Conversion{{Unit: "case", Is: q("12.5 kg")}}, Entries: []Entry{
		{Kind: Made, Quantity: q("1000000 kg")}, {Kind: InControl, Quantity: q("1000000 kg")}}}
	for i := range 2000 {
		p := all(fmt.Sprintf("P%04d", i), Released, "40 case")
		p.Mark.Pallet = fmt.Sprintf("%018d", i)
		l.Portions = append(l.Portions, p)
	}
	b.ReportAllocs()
	for b.Loop() {
		if s, _ := Balance(l, Tolerance{}); s.Closing != Closes {
			b.Fatal(s.Closing)
		}
	}
}
