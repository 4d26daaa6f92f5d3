package reading

import (
	"cmp"
	"slices"
)

// byKey is the order of the table's key; of the same reading twice, the one that
// came first.
func byKey(a, b row) int {
	if c := cmp.Compare(a.instrument, b.instrument); c != 0 {
		return c
	}
	if c := cmp.Compare(a.at, b.at); c != 0 {
		return c
	}
	if c := cmp.Compare(a.source, b.source); c != 0 {
		return c
	}
	return cmp.Compare(a.index, b.index)
}

// sorted returns rows in the order of the key. Chunks come minute by minute or
// instrument by instrument: laid out by instrument, which is one pass, hardly
// anything is left to sort.
func sorted(rows []row) []row {
	if slices.IsSortedFunc(rows, byKey) {
		return rows
	}
	byInstrument := func(a, b row) int { return cmp.Compare(a.instrument, b.instrument) }
	lo := slices.MinFunc(rows, byInstrument).instrument
	span := int(slices.MaxFunc(rows, byInstrument).instrument-lo) + 1
	if span > 4*len(rows) { // few rows of instruments with numbers far apart
		slices.SortFunc(rows, byKey)
		return rows
	}
	ends := make([]int, span+1) // where the rows of an instrument begin; later, where they end
	for i := range rows {
		ends[rows[i].instrument-lo+1]++
	}
	for i := 1; i <= span; i++ {
		ends[i] += ends[i-1]
	}
	out := make([]row, len(rows))
	for i := range rows {
		n := rows[i].instrument - lo
		out[ends[n]] = rows[i]
		ends[n]++
	}
	from := 0
	for _, to := range ends[:span] {
		if own := out[from:to]; !slices.IsSortedFunc(own, byKey) {
			slices.SortFunc(own, byKey)
		}
		from = to
	}
	return out
}
