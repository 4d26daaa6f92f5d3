package limit

import (
	"math"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// kept returns the largest distance from the bound, on its good side, that
// readings keep for a time [µs] without a gap; false if no run of readings is so
// long.
//
//	max over runs of min of side, over the shortest runs that are long enough
//
// One pass: the run that ends at a reading begins later the later that reading
// is, and only readings nearer to harm than all after them can be its nearest.
func (b bound) kept(s []series.Sample, time, gap int64) (best unit.Micro, ok bool) {
	best = math.MinInt64
	var waiting []int // indexes, ascending in time and in distance from the bound
	head, begin, since := 0, 0, 0
	for i := range s {
		if s[i].T == unit.Unknown {
			since = i + 1
			continue
		}
		if i > since && s[i].At-s[i-1].At > gap {
			since = i
		}
		if since == i { // a new run
			waiting, head, begin = waiting[:0], 0, i
		}
		d := b.side(s[i].T)
		for len(waiting) > head && b.side(s[waiting[len(waiting)-1]].T) >= d {
			waiting = waiting[:len(waiting)-1]
		}
		waiting = append(waiting, i)
		for begin < i && s[i].At-s[begin+1].At >= time {
			begin++
		}
		for waiting[head] < begin {
			head++
		}
		if s[i].At-s[begin].At >= time {
			best, ok = max(best, b.side(s[waiting[head]].T)), true
		}
	}
	return best, ok
}
