package balance

import (
	"maps"
	"math/big"
	"slices"
	"strings"

	"lastgood/policy/unit"
)

// factors is how much of the ledger's unit one of each other unit is.
type factors map[string]*big.Rat

// factorsOf reads the recorded conversions, in either direction and over as many
// steps as it takes. Where two ways give different factors, none of them is
// believed: whoever recorded them has to say which holds.
func (b *book) factorsOf(l Ledger) factors {
	base := strings.TrimSpace(l.Unit)
	steps := map[string][]step{}
	for _, c := range l.Conversions {
		one := strings.TrimSpace(c.Unit)
		is, ok := b.parse(c.Is, "the conversion of "+one)
		switch {
		case !ok:
			continue
		case is.Sign() == 0 || one == "":
			b.find(NotAQuantity, []string{one}, nil, "the conversion of %q to %s is none", one, c.Is)
			continue
		}
		other := strings.TrimSpace(c.Is.Unit)
		steps[one] = append(steps[one], step{other, is})
		steps[other] = append(steps[other], step{one, new(big.Rat).Inv(is)})
	}
	f, agree := walk(base, steps)
	if agree {
		return f
	}
	units := slices.Sorted(maps.Keys(f))
	b.find(ConversionsDisagree, units, nil,
		"the conversions between %s give different results by different ways: none of them is used", strings.Join(units, ", "))
	return factors{base: big.NewRat(1, 1)}
}

// step says that one unit is so much of another.
type step struct {
	to string
	is *big.Rat
}

// walk reaches every unit that hangs together with base, and says whether all
// ways to each agree.
func walk(base string, steps map[string][]step) (factors, bool) {
	f := factors{base: big.NewRat(1, 1)}
	agree := true
	for queue := []string{base}; len(queue) > 0; queue = queue[1:] {
		from := queue[0]
		for _, s := range steps[from] { // 1 from = s.is to, so 1 to = from / s.is
			one := new(big.Rat).Quo(f[from], s.is)
			if known, ok := f[s.to]; ok {
				agree = agree && known.Cmp(one) == 0
				continue
			}
			f[s.to] = one
			queue = append(queue, s.to)
		}
	}
	return f, agree
}

// parse reads an amount and says what is wrong with it.
func (b *book) parse(q unit.Quantity, what string) (*big.Rat, bool) {
	if strings.TrimSpace(q.Unit) == "" {
		b.find(NoConversion, []string{what}, nil, "%s, %q, has no unit", what, q.Amount)
		return nil, false
	}
	if strings.HasPrefix(strings.TrimSpace(q.Amount), "-") {
		b.find(Negative, []string{what}, nil, "%s, %s, is negative", what, q)
		return nil, false
	}
	if _, err := unit.ParseQuantity(q.Amount, q.Unit); err != nil {
		b.find(NotAQuantity, []string{what}, nil, "%s: %v", what, err)
		return nil, false
	}
	return q.Rat(), true
}

// amount returns q in the ledger's unit, nil with a finding where it has none.
func (b *book) amount(q unit.Quantity, what string) *big.Rat {
	r, ok := b.parse(q, what)
	if !ok {
		return nil
	}
	one, ok := b.factors[strings.TrimSpace(q.Unit)]
	if !ok {
		b.find(NoConversion, []string{what}, nil,
			"%s is in %s, and no conversion of %s to %s is recorded", what, q.Unit, q.Unit, b.unit)
		return nil
	}
	return r.Mul(r, one)
}

// million is the smallest part that a quantity is written in.
const million = 1_000_000

// Decimal writes an amount: exactly where six decimals are enough, else rounded
// to six and marked.
func Decimal(r *big.Rat) string {
	if r == nil {
		return "unknown"
	}
	s, mark := r.FloatString(6), ""
	if !new(big.Rat).Mul(r, big.NewRat(million, 1)).IsInt() {
		mark = "about "
	}
	return mark + strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

// say writes an amount with the ledger's unit.
func (b *book) say(r *big.Rat) string { return Decimal(r) + " " + b.unit }
