package balance

import (
	"cmp"
	"math/big"
	"slices"
	"strings"

	"lastgood/policy/unit"
)

// Method names this way of balancing; another rule is another name.
const Method = "balance/lot@1"

// Statement is the balance of one lot, every amount exact and in Unit.
type Statement struct {
	Lot, Unit string
	// From is what was made, received and brought in; Where is where it is; Gap is
	// the first less the second.
	From, Where, Gap *big.Rat
	InDoubt          *big.Rat // nil: not known
	Lines            []Line   // one for each fate, in the order of the trade
	Undecided        *big.Rat // in portions, without a disposition
	// Unaccounted is what is in doubt less the lines and the undecided; negative:
	// more was accounted for than there was. Share is of InDoubt; nil: nothing is
	// in doubt, or it is not known how much.
	Unaccounted, Share *big.Rat
	Allowed            *big.Rat // how much may be unaccounted, with a signature
	Retrieved          *big.Rat // all that came back, whatever became of it then
	Sources            []Said   // where more than one source says how much
	Closing            Closability
	Method             string
}

// Said is what several sources say of one quantity, the least first.
type Said struct {
	Of      string
	Numbers []Number // by source
}

// Line is how much went one way: as carried out, and until then as decided.
type Line struct {
	Fate   Fate
	Amount *big.Rat
}

// Closability says whether the balance lets the deviation be closed.
type Closability string

// The answers.
const (
	Closes           Closability = "closes"
	ClosesWhenSigned Closability = "closes_when_signed" // something is unaccounted, within what is allowed
	CannotClose      Closability = "cannot_close"
)

// Tolerance is how much may be unaccounted, the larger of the two.
type Tolerance struct {
	Percent string        // of the quantity, a decimal: "0.1"
	Amount  unit.Quantity // an amount whose unit the ledger has no conversion for earns nothing
}

// DefaultTolerance is 0.1 % or one case (design notes on the procedure, §8; the
// plant sets its own).
func DefaultTolerance() Tolerance {
	return Tolerance{Percent: "0.1", Amount: unit.Quantity{Amount: "1", Unit: "case"}}
}

// book is one ledger while it is being balanced.
type book struct {
	unit     string
	factors  factors
	share    *big.Rat // of a quantity that may be missing
	least    *big.Rat // that may be missing of any
	found    []Imbalance
	said     []Said
	portions []portion
}

// Balance adds up the ledger of a lot and returns what it says with everything
// that is wrong with it.
//
//	made + received + brought in = in control + shipped + reworked out + samples + loss
//	U = D − Σ done − undecided,   s = U / D,   |U| ≤ max(p/100 · D, a)
//
//	D     quantity in doubt                                     [the ledger's unit]
//	done  of each decision: as carried out, until then as decided; of retrieved
//	      product its second dispositions, and what is left of it as retrieved
//	U, s  unaccounted, and its share of D                       [unit, 1]
//	p, a  tolerance                                             [%, unit]
//
// Range:    amounts of up to fifteen digits and six decimals, ≥ 0.
// Assumes:  the entries are as counted before any disposition was carried out, so
// that both sums hold at one time.
// Source:   design notes on the procedure, §8, M1 to M7; design of this engine for
// what the sum of the lot is made of. Common practice.
// Departs:  a signature is asked for whenever anything is unaccounted, however
// little, and in the sum of the lot too.
// Checked:  the example of the notes in example_test.go; the rest by properties.
func Balance(l Ledger, t Tolerance) (Statement, []Imbalance) {
	b := &book{unit: strings.TrimSpace(l.Unit)}
	b.factors = b.factorsOf(l)
	b.share, b.least = t.read(b.factors)
	b.portions = b.readPortions(l.Portions)
	s := Statement{Lot: l.Lot, Unit: b.unit, Method: Method}
	b.lot(l, &s)
	b.doubt(l, &s)
	b.checkPortions()
	b.fates(&s)
	b.account(&s)
	found := b.sorted()
	s.Sources = b.said
	slices.SortFunc(s.Sources, func(x, y Said) int {
		return cmp.Or(strings.Compare(x.Of, y.Of), slices.CompareFunc(x.Numbers, y.Numbers, Number.compare))
	})
	s.Closing = closability(s, found)
	return s, found
}

// read returns the tolerance as numbers; what cannot be read is nothing, which
// is the stricter.
func (t Tolerance) read(f factors) (share, least *big.Rat) {
	share, least = new(big.Rat), new(big.Rat)
	if q, err := unit.ParseQuantity(t.Percent, "%"); err == nil {
		share.Quo(q.Rat(), big.NewRat(100, 1))
	}
	one, ok := f[strings.TrimSpace(t.Amount.Unit)]
	if q, err := unit.ParseQuantity(t.Amount.Amount, t.Amount.Unit); err == nil && ok {
		least.Mul(q.Rat(), one)
	}
	return share, least
}

// allowed is how much of a quantity may be missing.
func (b *book) allowed(of *big.Rat) *big.Rat {
	part := new(big.Rat).Mul(b.share, of)
	if part.Cmp(b.least) < 0 {
		return new(big.Rat).Set(b.least)
	}
	return part
}

// within says whether a difference may be missing of a quantity.
func (b *book) within(difference, of *big.Rat) bool {
	return new(big.Rat).Abs(difference).Cmp(b.allowed(of)) <= 0
}

// lot makes the first sum.
func (b *book) lot(l Ledger, s *Statement) {
	s.From, s.Where = new(big.Rat), new(big.Rat)
	for _, e := range l.Entries {
		name := strings.TrimSpace(string(e.Kind) + " " + e.Ref)
		r := b.amount(e.Quantity, name)
		b.sources(name, e.Source, r, e.Also)
		switch {
		case r == nil:
		case e.Kind == Made || e.Kind == Received || e.Kind == BroughtIn:
			s.From.Add(s.From, r)
		case e.Kind == InControl || e.Kind == Shipped || e.Kind == ReworkedOut || e.Kind == Sampled || e.Kind == Lost:
			s.Where.Add(s.Where, r)
		default:
			b.find(LotNotBalanced, []string{name}, nil, "%q is no kind of entry: %s is not counted", e.Kind, e.Quantity)
		}
	}
	s.Gap = new(big.Rat).Sub(s.From, s.Where)
	if s.From.Sign() == 0 {
		b.find(LotNotBalanced, []string{l.Lot}, nil, "nothing says how much was made or received")
	}
	if !b.within(s.Gap, s.From) {
		b.find(LotNotBalanced, []string{l.Lot},
			[]Number{{"made, received and brought in", s.From}, {"in control, shipped and otherwise gone", s.Where}, {"difference", s.Gap}},
			"%s was made, received and brought in, and %s is in control, shipped or otherwise gone: %s between them, and %s is allowed",
			b.say(s.From), b.say(s.Where), b.say(s.Gap), b.say(b.allowed(s.From)))
	}
}

// doubt reads how much is in doubt; nothing said is the whole lot.
func (b *book) doubt(l Ledger, s *Statement) {
	if l.InDoubt == nil {
		s.InDoubt = s.From
		return
	}
	s.InDoubt = b.amount(*l.InDoubt, "the quantity in doubt")
	if s.InDoubt == nil {
		return
	}
	over := new(big.Rat).Sub(s.InDoubt, s.From)
	if over.Sign() > 0 && !b.within(over, s.From) {
		b.find(DoubtExceedsLot, []string{l.Lot}, []Number{{"in doubt", s.InDoubt}, {"lot", s.From}},
			"%s is in doubt, and the lot has only %s", b.say(s.InDoubt), b.say(s.From))
	}
}

// closability is what the findings leave open.
func closability(s Statement, found []Imbalance) Closability {
	switch {
	case len(found) > 0 || s.Unaccounted == nil:
		return CannotClose
	case s.Unaccounted.Sign() != 0 || s.Gap.Sign() != 0:
		return ClosesWhenSigned
	}
	return Closes
}

// Allows says whether so much of a quantity may be missing, in the unit of the
// quantity: without a ledger there is no conversion, and a tolerance that is
// written in another unit earns nothing.
func (t Tolerance) Allows(of unit.Quantity, missing *big.Rat) bool {
	most := new(big.Rat)
	if p, err := unit.ParseQuantity(t.Percent, "%"); err == nil {
		most.Mul(p.Rat(), of.Rat()).Quo(most, big.NewRat(100, 1))
	}
	if t.Amount.Unit == of.Unit && t.Amount.Rat().Cmp(most) > 0 {
		most = t.Amount.Rat()
	}
	return missing.Cmp(most) <= 0
}
