package recall

import (
	"math/rand/v2"
	"slices"
)

// Level is at which level the effectiveness of a recall is checked.
type Level string

// The levels.
const (
	All     Level = "A" // every consignee
	Share   Level = "B" // a stated share, above 10 and below 100 of a hundred
	Tenth   Level = "C"
	Fifty   Level = "D" // 2 of a hundred
	NoCheck Level = "E"
)

// PerMille returns how many of a thousand consignees are checked at a level, of
// which only B needs its share [%]; false: there is no such level, or no such
// share of it.
//
// Source: 21 CFR 7.42(b)(3), row RC-09 of the published obligations (from memory).
func PerMille(l Level, share int) (int, bool) {
	switch {
	case l == Share:
		return share * 10, share > 10 && share < 100
	case share != 0:
		return 0, false
	case l == All:
		return 1000, true
	case l == Tenth:
		return 100, true
	case l == Fifty:
		return 20, true
	}
	return 0, l == NoCheck
}

// Size returns how many of n consignees that is, rounded up: a share of a
// consignee is a consignee.
func Size(n, perMille int) int { return (n*perMille + 999) / 1000 }

// Draw returns which consignees are checked: k of the population, by the seed and
// by nothing else. The population is brought into order first and none counts
// twice, so that whoever has the list and the seed draws the same.
func Draw(population []string, k int, seed int64) (from, drawn []string) {
	from = slices.Compact(slices.Sorted(slices.Values(population)))
	drawn = slices.Clone(from)
	r := rand.New(rand.NewPCG(uint64(seed), 0))
	r.Shuffle(len(drawn), func(i, j int) { drawn[i], drawn[j] = drawn[j], drawn[i] })
	drawn = drawn[:min(k, len(drawn))]
	slices.Sort(drawn)
	return from, drawn
}
