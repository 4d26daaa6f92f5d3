package impact

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// severities are the weights of harm. Judgement: equal steps, with fatal as one.
var severities = map[Severity]float64{Minor: 0.25, Moderate: 0.5, Serious: 0.75, Fatal: 1}

// doubtful is the likelihood of having missed where no probability can be
// given, and the least where the readings missed as recorded. Judgement: just
// behind a proven miss, ahead of nearly every probability.
const doubtful = 0.9

// The weights of reach, which add up to one. Judgement: what has left the plant
// counts most; the rest says how far it spreads and whom it meets.
const (
	reachBase       = 0.3  // it exists
	reachShipped    = 0.4  // times the share that has shipped
	reachConsignee  = 0.02 // for each of the first five who received it
	reachReadyToEat = 0.1
	reachVulnerable = 0.1

	manyConsignees = 5
)

// score returns 100 times the product of the factors, in whole points.
//
//	score = round(100 · S · L · R)                                    [points]
//
//	S   severity of the hazard: minor 0.25, moderate 0.5, serious 0.75, fatal 1
//	L   likelihood that the limit was missed                           [0..1]
//	R   reach: 0.3 + 0.4·share shipped + 0.02·consignees (5 at most)
//	    + 0.1 if ready to eat + 0.1 if for vulnerable consumers        [0.3..1]
//
// Range:    0..100; halves are rounded up.
// Assumes:  what is not known counts as the worse.
// Source:   this project's judgement; it orders work and decides nothing.
// Departs:  nothing.
// Checked:  by hand in score_test.go.
func score(factors []Factor) int {
	p := 100.0
	for _, f := range factors {
		p *= f.Value
	}
	const noise = 1e-9 // so that a half made of decimals is still a half
	return int(math.Floor(p + 0.5 + noise))
}

func severity(f Facts) Factor {
	if v, known := severities[f.Severity]; known {
		return Factor{"severity", v, "the hazard is " + string(f.Severity)}
	}
	return Factor{"severity", severities[Serious], "the severity is not known and counts as serious"}
}

func likelihood(f Facts) Factor {
	const name = "likelihood"
	p := f.ProbabilityMissed
	switch {
	case f.Verdict == missed:
		return Factor{name, 1, "the limit was missed whatever the error was"}
	case f.Verdict == unknown:
		return Factor{name, doubtful, "nothing can be said: counted just behind a proven miss"}
	case f.MissedAsRecorded && (p == nil || *p < doubtful):
		return Factor{name, doubtful, "it missed as recorded: the correction earns it no better place"}
	case p != nil:
		return Factor{name, *p, "the probability of having missed the limit"}
	case f.Verdict == met:
		return Factor{name, 0, "the limit was met whatever the error was"}
	}
	return Factor{name, doubtful, "no probability can be given: counted just behind a proven miss"}
}

// reach adds up how far the product has got and whom it meets. Its reason is
// the sum, so that anyone can redo it.
func reach(f Facts) Factor {
	sum, terms := reachBase, []string{number(reachBase) + " for any product"}
	add := func(v float64, why string) {
		sum += v
		terms = append(terms, number(v)+" "+why)
	}
	if f.Shipped {
		part, why := f.part()
		add(reachShipped*part, why)
		n, why := f.consignees()
		add(reachConsignee*float64(n), why)
	}
	if yes(f.ReadyToEat) {
		add(reachReadyToEat, "ready to eat"+orNotKnown(f.ReadyToEat))
	}
	if yes(f.Vulnerable) {
		add(reachVulnerable, "vulnerable consumers"+orNotKnown(f.Vulnerable))
	}
	return Factor{"reach", min(1, sum), strings.Join(terms, " + ")}
}

func (f Facts) part() (float64, string) {
	if f.ShippedShare == nil {
		return 1, "shipped, share not known and counted as all"
	}
	return *f.ShippedShare, fmt.Sprintf("shipped (%s × share %s)", number(reachShipped), number(*f.ShippedShare))
}

func (f Facts) consignees() (int, string) {
	if f.Consignees == nil {
		return manyConsignees, "consignees not known and counted as many"
	}
	n := min(*f.Consignees, manyConsignees)
	return n, fmt.Sprintf("consignees (%s × %d)", number(reachConsignee), n)
}

func orNotKnown(b *bool) string {
	if b == nil {
		return " (not known, counted as yes)"
	}
	return ""
}

// number writes v as a person would: no float noise, no trailing zeros.
func number(v float64) string {
	return strconv.FormatFloat(math.Round(v*1e6)/1e6, 'f', -1, 64)
}

// yes reads an attribute; not known counts as yes.
func yes(b *bool) bool { return b == nil || *b }
