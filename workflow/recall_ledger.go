package workflow

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"

	"lastgood/policy/unit"
	"lastgood/workflow/decision"
	"lastgood/workflow/lot"
	"lastgood/workflow/recall"
	"lastgood/workflow/signoff"
)

// Consignment is one line of the ledger: product in doubt of one lot that went to
// one consignee with one shipment. What the consignee says stands beside what was
// carried out; the second is what the mass balance counts.
type Consignment struct {
	Left
	Notice   *recall.Notice   // the last; nil: they were not told
	ToNotify bool             // not told, or failed a check since
	Said     *recall.Response // the latest word; nil: none
	InSample bool
	Check    *recall.Check // the last; nil: none
	// Disposition decides what becomes of it; 0: nothing was decided.
	Disposition   decision.ID
	Is            string // what was decided: retrieve; empty: nothing
	Retrieved     string // carried out
	Unrecoverable string // carried out, with its reason
	Executed      bool
	Differences   []string
}

// consignments is the ledger, in order of consignee, time and lot.
func (k *desk) consignments() []Consignment {
	left := k.c.left()
	out := make([]Consignment, len(left))
	toNotify := k.toNotify()
	for i, l := range left {
		c := Consignment{Left: l, Notice: k.lastNotice(l.Consignee), Check: k.lastCheck(l.Consignee), InSample: slices.Contains(k.sample(), l.Consignee),
			ToNotify: slices.Contains(toNotify, l.Consignee), Retrieved: "0", Unrecoverable: "0"}
		for j := range k.Responses {
			r := &k.Responses[j]
			if r.Lot == int64(l.lot) && r.Shipment == l.Shipment {
				c.Said = r
			}
		}
		k.carriedOut(&c)
		c.compare()
		out[i] = c
	}
	slices.SortStableFunc(out, func(a, b Consignment) int {
		return cmp.Or(cmp.Compare(a.Consignee, b.Consignee), a.ShippedAt.Compare(b.ShippedAt), cmp.Compare(a.Lot, b.Lot))
	})
	return out
}

// carriedOut fills in what was decided of a consignment and reported.
func (k *desk) carriedOut(c *Consignment) {
	i := slices.IndexFunc(k.c.portions, func(p lot.Portion) bool { return p.Lot == c.lot && p.Label == "shipment "+c.Shipment })
	if i < 0 {
		return
	}
	dec, has := k.c.decision(k.c.portions[i].ID)
	if !has {
		return
	}
	back, gone := new(big.Rat), new(big.Rat)
	for _, e := range k.c.doneOf(dec.ID) {
		switch e.Fate {
		case "retrieved":
			back.Add(back, e.Quantity().Rat())
		case "accounted_unrecoverable":
			gone.Add(gone, e.Quantity().Rat())
		}
	}
	c.Disposition, c.Is, c.Executed = dec.ID, string(dec.Kind), dec.State == decision.Executed
	c.Retrieved, c.Unrecoverable = unit.Decimal(back), unit.Decimal(gone)
}

// compare says where the consignee's word and what was carried out differ.
func (c *Consignment) compare() {
	if c.Said == nil {
		return
	}
	of := func(s string) *big.Rat {
		r, _ := new(big.Rat).SetString(s)
		return r
	}
	sum := func(list ...string) *big.Rat {
		t := new(big.Rat)
		for _, s := range list {
			t.Add(t, of(s))
		}
		return t
	}
	in := " " + c.Said.Unit
	if back := of(c.Said.Returned); back.Cmp(of(c.Retrieved)) != 0 {
		c.Differences = append(c.Differences, "they say that they returned "+c.Said.Returned+in+", and "+c.Retrieved+" came back")
	}
	if gone := sum(c.Said.Destroyed, c.Said.SoldOn); gone.Cmp(of(c.Unrecoverable)) != 0 {
		c.Differences = append(c.Differences, "they say that they destroyed or sold on "+unit.Decimal(gone)+in+", and "+c.Unrecoverable+" were reported as not to be recovered")
	}
	if all := sum(c.Said.OnHand, c.Said.Returned, c.Said.Destroyed, c.Said.SoldOn); c.Quantity != nil && all.Cmp(of(*c.Quantity)) != 0 {
		c.Differences = append(c.Differences, "they account for "+unit.Decimal(all)+in+" of the "+*c.Quantity+" that they were sent")
	}
}

func (k *desk) lastNotice(consignee string) (last *recall.Notice) {
	for i := range k.Notices {
		if k.Notices[i].Consignee == consignee {
			last = &k.Notices[i]
		}
	}
	return last
}

func (k *desk) lastCheck(consignee string) (last *recall.Check) {
	for i := range k.Checks {
		if k.Checks[i].Consignee == consignee {
			last = &k.Checks[i]
		}
	}
	return last
}

// consignees are the names that product in doubt went to, each once.
func (k *desk) consignees() (out []string) {
	for _, l := range k.c.left() {
		if l.Consignee != "" {
			out = append(out, l.Consignee)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// toNotify are the consignees who were not told, or failed a check of the last
// notice.
func (k *desk) toNotify() (out []string) {
	for _, name := range k.consignees() {
		n, c := k.lastNotice(name), k.lastCheck(name)
		if n == nil || c != nil && !c.Passed && c.Notice == n.ID {
			out = append(out, name)
		}
	}
	return out
}

// sample is who is to be checked: the last drawing.
func (k *desk) sample() []string {
	if len(k.Samples) == 0 {
		return nil
	}
	return k.Samples[len(k.Samples)-1].Drawn
}

// unchecked are those in the sample who have not passed since they were last told.
func (k *desk) unchecked() (out []string) {
	for _, name := range k.sample() {
		n, c := k.lastNotice(name), k.lastCheck(name)
		if c == nil || !c.Passed || n != nil && n.ID != c.Notice {
			out = append(out, name)
		}
	}
	return out
}

// unreturned counts what left and was not carried out whole as it was decided, and
// what came back and has no end.
func (k *desk) unreturned() (n int) {
	lots := map[lot.ID]bool{}
	for _, c := range k.consignments() {
		lots[c.lot] = true
		if !c.Executed || !k.verified(c.Disposition) {
			n++
		}
	}
	for _, p := range k.c.portions {
		if p.Place != lot.Retrieved || !lots[p.Lot] {
			continue
		}
		dec, has := k.c.decision(p.ID)
		if !has || dec.State != decision.Executed || !k.verified(dec.ID) {
			n++
		}
	}
	return n
}

// verified says whether everyone has signed that a disposition was carried out.
func (k *desk) verified(id decision.ID) bool {
	r, ok := k.c.record(signoff.Execution, int64(id))
	return ok && r.Complete()
}

// facts reads what the guards look at.
func (k *desk) facts() RecallFacts {
	f := RecallFacts{ToNotify: len(k.toNotify()), Drawn: k.drawn(), Unchecked: len(k.unchecked()), Unreturned: k.unreturned()}
	for _, c := range k.consignments() {
		f.Left++
		if c.Consignee == "" {
			f.Unnamed++
		}
		if c.Said != nil {
			f.Responses++
		}
	}
	return f
}

// drawn says whether a sample was drawn at the level that was decided, of everyone
// who is a consignee now.
func (k *desk) drawn() bool {
	if len(k.Samples) == 0 {
		return false
	}
	last := k.Samples[len(k.Samples)-1]
	return last.Level == k.pack.Level && last.Share == fmt.Sprint(k.pack.Share) && slices.Equal(last.Population, k.consignees())
}

// addTo adds an amount to the sum of its unit.
func addTo(sums map[string]string, in, amount string) {
	total := unit.Quantity{Amount: cmp.Or(sums[in], "0"), Unit: in}.Rat()
	sums[in] = unit.Decimal(total.Add(total, unit.Quantity{Amount: amount, Unit: in}.Rat()))
}
