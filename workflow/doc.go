// Package workflow is the engine: what happens from the moment a thermometer
// fails its check until the deviation is closed, and when it is opened again.
//
// The story of one case. A technician checks a thermometer and it does not
// clearly pass. Service.Record stores the check, judges it by the site's rule,
// opens a deviation and, in the same transaction, holds every portion that the
// instrument vouched for since the last check it clearly passed, and everything
// made of it, as far as it is still in the plant's control (containment.go).
// Whoever guards the stock acknowledges each hold with a count
// (Service.AcknowledgeHold); when all are, the deviation is contained.
// Service.Trace reads every reading in the window, works out what the error may
// have been at each (doubt.go, by policy/metrology), judges every lot under
// every limit (judge.go, by policy/limit), weighs what is in doubt by where it
// has gone and lets the rules of the site's policy decide (weigh.go, by
// policy/rules and policy/impact), and stores the run. Then a person takes the
// evaluation on (Service.Evaluate). QA divides lots (Service.SplitPortion) and
// proposes what becomes of each portion (Service.Propose), as far as its verdict
// and the evidence allow; people sign the very records that they were shown
// (Service.Sign); what was carried out is reported (Service.ReportExecution). Beside
// that run re-tests, the corrective action, the instrument's way back into use,
// what authorities must be told and the recall, each with a written procedure of
// its own. When nothing stands in the way (closing.go), two people close.
//
// A policy is tried on what was decided before (Service.TryPolicy), and changed by
// two people (Service.ProposePolicy).
//
// What is recorded late and may concern a deviation makes it due for another
// run in the transaction that records it (touch.go).
//
// Each procedure is one table, procedure.go and the tracks beside it; the state of a
// deviation follows from what all of them say (advance.go). Every command keeps
// one order:
// lock, facts, policy, next state, write, effects, trail. Locks are taken in the
// order plant, genealogy, deviation, hold, lot, and the trail's last.
package workflow
