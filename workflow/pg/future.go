package pg

import (
	"time"

	"lastgood/workflow/fault"
)

// Ahead is by how much the clock of another system may be ahead of ours before
// what it tells of has not happened yet. A judgement.
const Ahead = 10 * time.Minute

// NotYet refuses a time that lies ahead: what has not happened is no evidence, and
// a year typed wrong must not end a window or take product off a list. nil: it
// does not lie ahead.
func (tx *Tx) NotYet(at time.Time, field string) *fault.Error {
	if !at.After(tx.Now.Add(Ahead)) {
		return nil
	}
	return fault.New(fault.Invalid, "in-the-future", "%s has not come yet: it is %s", at.Format(time.RFC3339), tx.Now.Format(time.RFC3339)).In(field)
}

// AllPast is NotYet for a list; fault.Rows: those that lie ahead.
func AllPast[T any](tx *Tx, list []T, field string, at func(T) time.Time) error {
	var bad fault.Rows
	for i, v := range list {
		if e := tx.NotYet(at(v), field); e != nil {
			bad.Add(i, e)
		}
	}
	return bad.Err()
}
