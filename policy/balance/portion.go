package balance

import (
	"cmp"
	"math/big"
	"slices"
	"strings"
	"time"
)

// portion is one as read; a nil amount has its finding already.
type portion struct {
	Portion
	amount    *big.Rat
	decisions []decision
}

// decision is one as read. done is the quantity as carried out, nil if it was
// not, or as it cannot be read.
type decision struct {
	Decision
	proposed, done *big.Rat
	then           []decision
}

// counts is the quantity that a decision stands for: as carried out, and until
// then as decided.
func (d decision) counts() *big.Rat {
	if d.Done != nil {
		return d.done
	}
	return d.proposed
}

// readPortions reads the portions in an order that does not hang on the ledger's.
func (b *book) readPortions(list []Portion) []portion {
	list = slices.Clone(list)
	slices.SortStableFunc(list, func(x, y Portion) int {
		return cmp.Or(strings.Compare(x.ID, y.ID), strings.Compare(x.Mark.key(), y.Mark.key()), strings.Compare(x.Quantity.String(), y.Quantity.String()))
	})
	out := make([]portion, 0, len(list))
	for _, p := range list {
		p.Mark.Pallet, p.Mark.Tag = strings.TrimSpace(p.Mark.Pallet), strings.TrimSpace(p.Mark.Tag)
		name := "portion " + p.ID
		r := b.amount(p.Quantity, name)
		b.sources(name, p.Source, r, p.Also)
		out = append(out, portion{p, r, b.readDecisions(name, p.Decisions)})
	}
	return out
}

func (b *book) readDecisions(of string, list []Decision) []decision {
	out := make([]decision, 0, len(list))
	for _, d := range list {
		name := string(d.Fate) + " of " + of
		r := decision{Decision: d, proposed: b.amount(d.Quantity, name), then: b.readDecisions("what was "+name, d.Then)}
		if d.Done != nil {
			r.done = b.amount(*d.Done, name+", as carried out,")
		}
		out = append(out, r)
	}
	return out
}

// checkPortions applies M1 and M2 to the portions, and to each its own rules.
func (b *book) checkPortions() {
	for i, p := range b.portions {
		if strings.TrimSpace(p.ID) == "" {
			b.find(MarkNotUsable, nil, nil, "a portion of %s has no name", p.Quantity)
		}
		if i > 0 && p.ID == b.portions[i-1].ID {
			b.find(PortionTwice, []string{p.ID}, nil, "the portion %s is in the ledger more than once, and would be decided twice", p.ID)
		}
		if why := p.Mark.unusable(); why != "" {
			b.find(MarkNotUsable, []string{p.ID}, nil, "the time of production of portion %s %s", p.ID, why)
		}
		b.whole(p)
		for _, d := range p.decisions {
			b.checkDecision(p, d)
		}
	}
	b.apart()
}

// whole is M1 of one portion: its proposals are all of it.
func (b *book) whole(p portion) {
	sum, readable := new(big.Rat), p.amount != nil
	for _, d := range p.decisions {
		switch {
		case !slices.Contains(fates, d.Fate):
			b.find(NoDisposition, []string{p.ID}, nil, "%q is no disposition: %s of portion %s stays undecided", d.Fate, d.Quantity, p.ID)
		case d.proposed == nil:
			readable = false
		default:
			sum.Add(sum, d.proposed)
		}
	}
	if !readable {
		return
	}
	numbers := []Number{{"portion", p.amount}, {"proposed", sum}}
	switch c := sum.Cmp(p.amount); {
	case c == 0:
	case len(p.decisions) == 0:
		b.find(NoDisposition, []string{p.ID}, numbers, "portion %s, %s, has no disposition", p.ID, b.say(p.amount))
	case c < 0:
		b.find(ProposalsNotWhole, []string{p.ID}, numbers, "portion %s is %s, and only %s of it is proposed for", p.ID, b.say(p.amount), b.say(sum))
	default:
		b.find(ProposalsNotWhole, []string{p.ID}, numbers, "portion %s is %s, and %s is proposed for: some of it would be decided twice", p.ID, b.say(p.amount), b.say(sum))
	}
}

// key is a text that two marks share only if they are the same.
func (m *Mark) key() string {
	return strings.Join([]string{m.Pallet, m.Tag, m.From.UTC().Format(time.RFC3339Nano), m.Until.UTC().Format(time.RFC3339Nano)}, "\x00")
}

// timed says whether the mark has a time of production.
func (m *Mark) timed() bool { return !m.From.IsZero() && !m.Until.IsZero() && m.From.Before(m.Until) }

// unusable says what is wrong with the time of production.
func (m *Mark) unusable() string {
	switch {
	case m.From.IsZero() && m.Until.IsZero() || m.timed():
		return ""
	case m.From.IsZero() || m.Until.IsZero():
		return "has only one end"
	}
	return "ends before it begins"
}

// none says whether the mark tells nothing.
func (m *Mark) none() bool { return m.Pallet == "" && m.Tag == "" && !m.timed() }
