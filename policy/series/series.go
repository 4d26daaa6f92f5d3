// Package series holds a temperature record: what one instrument read, in order
// of time, on the scale of the limit it is judged against.
package series

import (
	"fmt"
	"sort"

	"lastgood/policy/unit"
)

// Sample is one reading. Samples of one series are in order of time.
type Sample struct {
	At int64      // microseconds since 1970-01-01T00:00:00Z
	T  unit.Micro // on the series' scale; unit.Unknown where nothing can be said
}

// Series is the record of one lot under one limit by one instrument.
type Series struct {
	Scale   unit.Scale
	Samples []Sample // ascending in time; equal times are allowed and kept
	// Start and End [µs] bound the time that the record must cover; zero where
	// no bound is known. A missing reading at either end is a gap like any
	// other.
	Start, End int64
}

// Sort puts samples in order of time, keeping the order of equal times.
func Sort(s []Sample) {
	if !sort.SliceIsSorted(s, func(i, j int) bool { return s[i].At < s[j].At }) {
		sort.SliceStable(s, func(i, j int) bool { return s[i].At < s[j].At })
	}
}

// Check refuses a series whose time goes backwards.
func (s Series) Check() error {
	for i := 1; i < len(s.Samples); i++ {
		if s.Samples[i].At < s.Samples[i-1].At {
			return fmt.Errorf("reading %d is before reading %d: put the series in order of time", i+1, i)
		}
	}
	return nil
}
