package balance

import (
	"math/big"
	"slices"
)

// fates adds up what became of the quantity in doubt. Retrieved product counts
// once, by its second disposition; what has none yet stays retrieved.
func (b *book) fates(s *Statement) {
	s.Undecided, s.Retrieved = new(big.Rat), new(big.Rat)
	s.Lines = make([]Line, len(fates))
	for i, f := range fates {
		s.Lines[i] = Line{f, new(big.Rat)}
	}
	for _, p := range b.portions {
		open := new(big.Rat)
		if p.amount != nil {
			open.Set(p.amount)
		}
		for _, d := range p.decisions {
			if slices.Contains(fates, d.Fate) && d.proposed != nil {
				open.Sub(open, d.proposed)
				s.add(d)
			}
		}
		if open.Sign() > 0 {
			s.Undecided.Add(s.Undecided, open)
		}
	}
}

// add puts one decision into its line.
func (s *Statement) add(d decision) {
	amount := d.counts()
	if amount == nil {
		return
	}
	line := s.Lines[slices.Index(fates, d.Fate)].Amount
	if d.Fate != Retrieved {
		line.Add(line, amount)
		return
	}
	s.Retrieved.Add(s.Retrieved, amount)
	left := new(big.Rat).Set(amount)
	for _, t := range d.then {
		if t.Fate != Retrieved && slices.Contains(fates, t.Fate) && t.proposed != nil {
			left.Sub(left, t.proposed)
			s.add(t)
		}
	}
	if left.Sign() > 0 {
		line.Add(line, left)
	}
}

// account is M6: what is left is nearly nothing. M1 of the whole stands beside
// it: the portions together are nearly what is in doubt, before anything is
// carried out.
func (b *book) account(s *Statement) {
	if s.InDoubt == nil {
		return
	}
	s.Allowed = b.allowed(s.InDoubt)
	s.Unaccounted = new(big.Rat).Sub(s.InDoubt, s.Undecided)
	for _, l := range s.Lines {
		s.Unaccounted.Sub(s.Unaccounted, l.Amount)
	}
	if s.InDoubt.Sign() > 0 {
		s.Share = new(big.Rat).Quo(s.Unaccounted, s.InDoubt)
	}
	b.covered(s)
	if b.within(s.Unaccounted, s.InDoubt) {
		return
	}
	numbers := []Number{{"in doubt", s.InDoubt}, {"unaccounted", s.Unaccounted}, {"allowed", s.Allowed}}
	if s.Unaccounted.Sign() < 0 {
		over := new(big.Rat).Neg(s.Unaccounted)
		b.find(Unaccounted, []string{s.Lot}, numbers, "%s more is accounted for than the %s in doubt, and %s is allowed",
			b.say(over), b.say(s.InDoubt), b.say(s.Allowed))
		return
	}
	b.find(Unaccounted, []string{s.Lot}, numbers, "%s of the %s in doubt is unaccounted for, %s, and %s is allowed",
		b.say(s.Unaccounted), b.say(s.InDoubt), Percent(s.Share), b.say(s.Allowed))
}

// covered compares the portions with what is in doubt.
func (b *book) covered(s *Statement) {
	sum := new(big.Rat)
	for _, p := range b.portions {
		if p.amount == nil {
			return // it has its own finding, and what it is cannot be said
		}
		sum.Add(sum, p.amount)
	}
	diff := new(big.Rat).Sub(s.InDoubt, sum)
	if b.within(diff, s.InDoubt) {
		return
	}
	b.find(DoubtNotCovered, []string{s.Lot}, []Number{{"in doubt", s.InDoubt}, {"portions", sum}, {"difference", diff}},
		"%s is in doubt, and the portions are %s together", b.say(s.InDoubt), b.say(sum))
}

// Percent writes a share: "0.08 %".
func Percent(share *big.Rat) string {
	if share == nil {
		return "unknown"
	}
	return Decimal(new(big.Rat).Mul(share, big.NewRat(100, 1))) + " %"
}
