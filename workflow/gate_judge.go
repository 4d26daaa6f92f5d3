package workflow

import (
	"fmt"
	"maps"
	"math/big"
	"slices"
	"strings"

	"lastgood/policy/unit"
	"lastgood/workflow/lot"
)

// The rules of the ship gate. They are stable: plant systems branch on them.
const (
	gateNoPolicy   = "no-policy"          // nothing is judged at this plant
	gateUnknown    = "unknown-lot"        // nobody ever named it
	gatePortion    = "unknown-portion"    // the lot has no such portion
	gateNamedOnly  = "not-registered"     // named by other records only
	gateOnHold     = "on-hold"            // a hold stands on it
	gateNotFree    = "not-free"           // a portion is not free, whatever the holds say
	gateMadeOfHeld = "made-of-held"       // a hold stands on what it was made of
	gateCascade    = "cascade-pending"    // a cascade that pends holds it, or may yet
	gateQueued     = "retrace-queued"     // a deviation that concerns it waits to be traced again
	gateLate       = "registered-late"    // made in an open window, and not looked at yet
	gateInDoubt    = "in-doubt"           // a deviation doubts it, or what it was made of, and does not hold it
	gateNothing    = "nothing-left"       // all of it is gone
	gateTooMuch    = "too-much"           // more than is in control
	gateUndecided  = "quantity-undecided" // nobody knows how much is left, or not in this unit
)

// judge answers each item.
func (g gate) judge(items []GateItem) []GateVerdict {
	asked := map[string]map[string]*big.Rat{} // by lot and unit: what is asked for in several items adds up
	for _, it := range items {
		if it.Quantity == nil {
			continue
		}
		if asked[it.Lot] == nil {
			asked[it.Lot] = map[string]*big.Rat{}
		}
		sum := asked[it.Lot][it.Quantity.Unit]
		if sum == nil {
			sum = new(big.Rat)
			asked[it.Lot][it.Quantity.Unit] = sum
		}
		sum.Add(sum, it.Quantity.Rat())
	}
	out := make([]GateVerdict, len(items))
	for i, it := range items {
		why := g.whyNot(it, asked[it.Lot])
		out[i] = GateVerdict{it, len(why) == 0, why}
	}
	return out
}

// whyNot returns every reason why an item must not ship.
func (g gate) whyNot(it GateItem, asked map[string]*big.Rat) []GateReason {
	why := []GateReason{}
	no := func(rule, format string, args ...any) {
		why = append(why, GateReason{Rule: rule, Detail: fmt.Sprintf(format, args...), Lot: it.Lot})
	}
	if !g.policy {
		no(gateNoPolicy, "the plant has no policy in force: nothing is judged")
	}
	id, known := g.ids[it.Lot]
	if !known {
		no(gateUnknown, "nothing is known of a lot %s", it.Lot)
		return why
	}
	here, placed := false, false
	held := map[string]bool{} // portions
	for _, f := range g.facts[id] {
		switch f.Fact {
		case "lot":
			if !f.Flag {
				no(gateNamedOnly, "other records name lot %s, and nobody registered it", it.Lot)
			}
		case "portion":
			here = here || f.Portion == it.Portion
			gone := lot.Ended(f.Word) && f.Portion != it.Portion                // of the lot, something else is asked for
			if !f.Flag && it.concerns(f.Portion) && !held[f.Portion] && !gone { // "hold" sorts before "portion"
				no(gateNotFree, "portion %q of lot %s is %s", f.Portion, it.Lot, f.Word)
			}
		case "position":
			placed = true
			why = append(why, enough(it, f, asked)...)
		default:
			if f.Lot == id && !it.concerns(f.Portion) {
				continue
			}
			held[f.Portion] = held[f.Portion] || f.Fact == "hold" && f.Lot == id
			why = append(why, f.reason(it.Lot, id == f.Lot))
		}
	}
	if !here {
		no(gatePortion, "lot %s has no portion %q", it.Lot, it.Portion)
	}
	if !placed {
		no(gateUndecided, "nobody knows how much of lot %s is left", it.Lot)
	}
	return why
}

// concerns: what is said of the whole lot is said of each portion, and whoever
// asks for the lot asks for all of them.
func (it GateItem) concerns(portion string) bool {
	return it.Portion == "" || portion == "" || portion == it.Portion
}

// reason puts a fact into a sentence. own: it is of the lot itself, and not of one
// that it was made of.
func (f gateFact) reason(asked string, own bool) GateReason {
	r := GateReason{Lot: f.Code, Hold: int64(f.Hold), Deviation: f.Deviation, Cascade: f.Cascade}
	which, of := "lot "+asked, ""
	if !own {
		which, of = fmt.Sprintf("lot %s, of which lot %s was made", f.Code, asked), " of which it was made"
	}
	switch f.Fact {
	case "hold":
		if r.Rule = gateOnHold; !own {
			r.Rule = gateMadeOfHeld
		}
		r.Detail = fmt.Sprintf("hold %d stands on %s, %s; %s", f.Hold, which, f.because(), acknowledged(f.Flag))
	case "pending":
		r.Rule = gateCascade
		r.Detail = fmt.Sprintf("cascade %d would put %s in doubt, and waits for a second person to confirm it", f.Cascade, which)
	case "doubted":
		if f.Flag {
			r.Rule = gateQueued
			r.Detail = fmt.Sprintf("deviation %d, which doubts %s, waits to be traced again: ask again in a moment", f.Deviation, which)
			break
		}
		r.Rule = gateInDoubt
		r.Detail = fmt.Sprintf("deviation %d doubts %s, and has no hold on lot %s", f.Deviation, which, asked)
	case "late":
		r.Rule = gateLate
		what := fmt.Sprintf("deviation %d", f.Deviation)
		if f.Cascade != 0 {
			what = fmt.Sprintf("cascade %d", f.Cascade)
		}
		r.Detail = fmt.Sprintf("%s has not yet looked at %s, which may have been made in its window: ask again in a moment", what, which)
	case "near":
		if r.Rule = gateQueued; f.Cascade != 0 {
			r.Rule = gateCascade
			r.Detail = fmt.Sprintf("cascade %d waits to be looked at again, and %s was read for lot %s%s or where it stood: ask again in a moment", f.Cascade, f.Word, f.Code, of)
			break
		}
		r.Detail = fmt.Sprintf("deviation %d waits to be traced again, and %s was read for lot %s%s or where it stood: ask again in a moment", f.Deviation, f.Word, f.Code, of)
	default: // what nobody put into words closes the gate all the same
		r.Rule, r.Detail = gateInDoubt, "something stands against "+which
	}
	return r
}

func (f gateFact) because() string {
	switch {
	case f.Deviation != 0:
		return fmt.Sprintf("because of deviation %d", f.Deviation)
	case f.Cascade != 0:
		return fmt.Sprintf("because of cascade %d", f.Cascade)
	}
	return "placed by hand: " + f.Word
}

func acknowledged(is bool) string {
	if is {
		return "whoever guards the stock has acknowledged it"
	}
	return "nobody has acknowledged it"
}

// enough compares what is asked for with what is in control. A quantity that
// nobody states is not compared; one that nobody knows is no quantity.
func enough(it GateItem, left gateFact, asked map[string]*big.Rat) []GateReason {
	no := func(rule, format string, args ...any) []GateReason {
		return []GateReason{{Rule: rule, Detail: fmt.Sprintf(format, args...), Lot: it.Lot}}
	}
	switch {
	case !left.Flag:
		return no(gateNothing, "nothing is left of lot %s: all of it was used or has shipped", it.Lot)
	case it.Quantity == nil:
		return nil
	case left.Amount == nil || left.Unit == nil:
		return no(gateUndecided, "nobody knows how much of lot %s is left", it.Lot)
	}
	q := unit.Quantity{Amount: *left.Amount, Unit: *left.Unit}
	var why []GateReason
	for _, of := range slices.Sorted(maps.Keys(asked)) {
		sum := asked[of]
		switch {
		case of != q.Unit:
			why = append(why, no(gateUndecided, "%s of lot %s is in control: ask in %s, not in %s", q, it.Lot, q.Unit, of)...)
		case sum.Cmp(q.Rat()) > 0:
			why = append(why, no(gateTooMuch, "%s %s is more than the %s of lot %s that is in control", plain(sum), of, q, it.Lot)...)
		}
	}
	return why
}

// plain writes a sum of quantities, which have at most six decimals each.
func plain(sum *big.Rat) string {
	return strings.TrimSuffix(strings.TrimRight(sum.FloatString(6), "0"), ".")
}
