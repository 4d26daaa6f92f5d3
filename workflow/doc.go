// Package workflow is the engine: what happens from the moment a thermometer
// fails its check until somebody evaluates what it touched.
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
// evaluation on (Service.Evaluate). A policy is tried on what was decided before
// (Service.TryPolicy).
//
// What is recorded late and may concern a deviation makes it due for another
// run in the transaction that records it (touch.go).
//
// The steps are one table, procedure.go, and every command keeps one order:
// lock, facts, policy, next state, write, effects, trail. Locks are taken in the
// order plant, genealogy, deviation, hold, lot, and the trail's last.
package workflow
