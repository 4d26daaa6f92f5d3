package balance

import (
	"slices"
	"strings"
)

// relation is what two marks say of two portions.
type relation int

const (
	separate    relation = iota // not the same product
	overlapping                 // the same product, some of it at least
	unclear                     // nothing that both have tells them apart
)

// relate compares two marks as read. One thing in which they differ is enough to tell
// them apart: two tags on one pallet are two parts of it. A portion without any
// mark is a quantity of what the others do not name.
func relate(a, b *Mark) relation {
	pallets, tags := a.Pallet != "" && b.Pallet != "", a.Tag != "" && b.Tag != ""
	if pallets && a.Pallet != b.Pallet || tags && a.Tag != b.Tag {
		return separate // the common case, and there are many pairs
	}
	times := a.timed() && b.timed()
	switch {
	case a.none(), b.none(), times && (!a.From.Before(b.Until) || !b.From.Before(a.Until)):
		return separate
	case pallets || tags || times:
		return overlapping
	}
	return unclear
}

// apart is M1 between portions: no product is in two of them. Names that come
// twice have their own finding.
func (b *book) apart() {
	var open []string
	for i := range b.portions {
		p := &b.portions[i]
		var same []string
		for j := i + 1; j < len(b.portions); j++ {
			q := &b.portions[j]
			switch how := relate(&p.Mark, &q.Mark); {
			case how == separate || p.ID == q.ID:
			case how == overlapping:
				same = append(same, q.ID)
			default:
				open = append(open, p.ID, q.ID)
			}
		}
		if len(same) > 0 {
			b.find(Overlap, append([]string{p.ID}, same...), nil, "portion %s has product in it that is also in %s", p.ID, strings.Join(same, ", "))
		}
	}
	if len(open) == 0 {
		return
	}
	slices.Sort(open)
	open = slices.Compact(open)
	b.find(NotToldApart, open, nil,
		"these portions are marked by different things (pallet, tag, time of production), and the same product may be in two of them: %s", strings.Join(open, ", "))
}
