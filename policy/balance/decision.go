package balance

import (
	"math/big"
	"slices"
	"strings"
)

// checkDecision applies the rules of one decision of a portion: M3 of what is
// reworked, M6 of how it was carried out, M7 of what is retrieved.
func (b *book) checkDecision(p portion, d decision) {
	if !slices.Contains(fates, d.Fate) {
		return
	}
	about := []string{p.ID, string(d.Fate)}
	switch {
	case d.Done == nil:
		b.find(NotExecuted, about, nil, "%s is to be %s of portion %s, and that is not reported as done", d.Quantity, d.Fate, p.ID)
	case d.done != nil && d.proposed != nil:
		if diff := new(big.Rat).Sub(d.proposed, d.done); !b.within(diff, d.proposed) {
			b.find(ExecutionDiffers, about, []Number{{"decided", d.proposed}, {"carried out", d.done}},
				"%s of portion %s was decided to be %s, and %s was", b.say(d.proposed), p.ID, d.Fate, b.say(d.done))
		}
	}
	switch {
	case d.Fate == Unrecoverable && strings.TrimSpace(d.Reason) == "":
		b.find(NoReason, about, nil, "%s of portion %s is said to be unrecoverable, without a reason", d.Quantity, p.ID)
	case d.Fate == Reworked:
		b.checkRework(p, d, about)
	}
	b.checkSecond(p, d, about)
	for _, then := range d.then {
		b.checkDecision(p, then)
	}
}

// checkRework is M3: what went into another lot is written down there, and
// either that lot is in doubt too or there is an argument why not.
func (b *book) checkRework(p portion, d decision, about []string) {
	if d.Into == nil || strings.TrimSpace(d.Into.Lot) == "" {
		b.find(ReworkNotReceived, about, nil, "%s of portion %s is reworked, and no lot is named that took it in", d.Quantity, p.ID)
		return
	}
	b.checkInput(p, d, about)
	switch d.Into.Because {
	case InDoubtToo, KillStep, LimitMet:
	case Dilution:
		b.find(ReworkNotFollowed, about, nil,
			"portion %s went into lot %s, and that it is diluted there is no argument: the lot is in doubt too, or a later step controls the hazard", p.ID, d.Into.Lot)
	default:
		b.find(ReworkNotFollowed, about, nil,
			"portion %s went into lot %s, and nothing says that this lot is in doubt too or why it is not", p.ID, d.Into.Lot)
	}
}

// checkInput compares what went out with what the receiving lot says came in.
func (b *book) checkInput(p portion, d decision, about []string) {
	if d.Into.Input == nil {
		b.find(ReworkNotReceived, about, nil, "%s of portion %s went into lot %s, and that lot has no such input", d.Quantity, p.ID, d.Into.Lot)
		return
	}
	in, out := b.amount(*d.Into.Input, "the input of lot "+d.Into.Lot+" from portion "+p.ID), d.counts()
	if in == nil || out == nil {
		return
	}
	if diff := new(big.Rat).Sub(out, in); !b.within(diff, out) {
		b.find(ReworkNotReceived, about, []Number{{"reworked", out}, {"input of the lot", in}},
			"%s of portion %s went into lot %s, and that lot has %s as its input", b.say(out), p.ID, d.Into.Lot, b.say(in))
	}
}

// checkSecond is M7: what came back is decided on again, all of it, and nothing
// else is.
func (b *book) checkSecond(p portion, d decision, about []string) {
	if d.Fate != Retrieved {
		if len(d.then) > 0 {
			b.find(RetrievedUndecided, about, nil, "portion %s has a second disposition after %s, and only retrieved product gets one", p.ID, d.Fate)
		}
		return
	}
	back, sum := d.counts(), new(big.Rat)
	for _, t := range d.then {
		switch {
		case t.Fate == Retrieved || !slices.Contains(fates, t.Fate):
			b.find(RetrievedUndecided, about, nil, "%q is no second disposition of what was retrieved of portion %s", t.Fate, p.ID)
		case t.proposed == nil:
			return
		default:
			sum.Add(sum, t.proposed)
		}
	}
	if back == nil || sum.Cmp(back) == 0 {
		return
	}
	b.find(RetrievedUndecided, about, []Number{{"retrieved", back}, {"second disposition", sum}},
		"%s of portion %s is retrieved, and its second disposition is for %s", b.say(back), p.ID, b.say(sum))
}

// sources is M5: what the planner, the scale and the warehouse say of one
// quantity is shown, and is nearly the same.
func (b *book) sources(name, source string, own *big.Rat, also []Count) {
	if source == "" {
		source = "ledger"
	}
	var numbers []Number
	if own != nil {
		numbers = append(numbers, Number{source, own})
	}
	for _, c := range also {
		if r := b.amount(c.Quantity, name+" by "+c.Source); r != nil {
			numbers = append(numbers, Number{c.Source, r})
		}
	}
	if len(numbers) < 2 {
		return
	}
	slices.SortFunc(numbers, Number.compare)
	b.said = append(b.said, Said{name, numbers})
	low, high := numbers[0], numbers[len(numbers)-1]
	if b.within(new(big.Rat).Sub(high.Amount, low.Amount), low.Amount) {
		return
	}
	var said []string
	for _, n := range numbers {
		said = append(said, n.Name+" "+b.say(n.Amount))
	}
	b.find(SourcesDisagree, []string{name}, numbers, "the sources disagree on %s: %s", name, strings.Join(said, ", "))
}
