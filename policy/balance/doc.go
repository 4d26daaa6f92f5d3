// Package balance is the ledger of one lot in doubt: what was made of it, where
// it is, and what became of every kilogram that was in doubt. An inspector's
// first question about a hold is "how much, and where is it now?"; this package
// answers it exactly, or says why it cannot be answered.
//
// There are two sums. The first is of the lot, as it was counted for the
// deviation, before any disposition was carried out: what was made or received
// and brought in by rework is still in control, or has shipped, or went into
// another lot, or was taken as samples or lost in process. The second is of the
// quantity in doubt: released, reworked, reprocessed, diverted, destroyed,
// retrieved, accounted for as unrecoverable with a reason, taken as samples,
// lost in process; and what is then left is unaccounted.
//
// The quantity in doubt lies in portions, each told apart on the floor by its
// pallet, its tag or its time of production, or not at all, which makes it a
// quantity of what no other portion names. A portion gets one or more decisions
// that together are all of it; what was then carried out has its own quantity.
// Retrieved product is decided on a second time, and is counted once, by what
// became of it in the end.
//
// Quantities are decimals as they were written and are added as fractions, so
// that no gram is lost to rounding. Units differ (a warehouse counts cases, a
// scale weighs kilograms), and only a recorded conversion, such as the net weight
// of a case, makes one of them into another: without one there is a finding and
// never a guess.
//
// The rules have names that stay, and the clauses M1 to M7 are those of the
// design notes on the procedure, §8. The duty behind them: every part of the
// affected food is evaluated and kept out of commerce until it is, 21 CFR
// 117.150(a)(2)(iii) and (iv); product is segregated, held, and acted upon, 9 CFR
// 417.3(b). That the quantities must add up to what was made, and how nearly, is
// common practice: no rule of law that the notes cite gives a tolerance.
package balance
