// Package reading owns the recorded temperatures: it takes them in, in sorted
// batches, and hands them out in order of time. Readings are never changed.
package reading

import (
	"time"

	"lastgood/policy/unit"
)

// Reading is one recorded temperature and what it vouched for, with the
// plant's own names for things. Empty means unknown.
type Reading struct {
	Instrument string
	TakenAt    time.Time // whole microseconds, UTC
	Value      float64   // as reported, in Unit; finite
	Decimals   int8      // as reported: 71.50 has two
	Unit       unit.Scale
	Lot        string
	Limit      string
	Location   string
	TakenBy    string
	SourceID   string // the sender's own key
}
