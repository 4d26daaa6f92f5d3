package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"
)

const (
	cooksPerDay   = 6
	cookKilograms = 480
	chillTime     = 2 * time.Hour // from the oven to the cold room
)

// storyMinima are the coldest readings [°F] of the lots that HP-03 vouched for
// between its last good check and the failed one, in order. The limit is
// 165 °F; the probe read 0.8 °F high at the first of the two checks and 2.9 °F
// at the second. So 169 and more is met, 166 to 168 indeterminate, and 165.3
// was below 165 even if the probe had still been as good as at its last check.
var storyMinima = []float64{171.2, 170.4, 167.1, 170.9, 165.3, 169.8, 166.4, 171.5, 170.1}

// Three of those lots, by their place in storyMinima.
const (
	shippedLot  = 2 // 167.1 °F; all of it had left before the check failed
	missedLot   = 4 // 165.3 °F; a part of it left on the next morning
	reworkedLot = 6 // 166.4 °F; a part of it became pie filling
)

// cook makes the lots of roast pieces: six a day, four core readings each, the
// probes in turn.
func (p *plant) cook() {
	rng, story := random(seedCook), 0
	for day := range days {
		if !works(day) {
			continue
		}
		for slot := range cooksPerDay {
			b := cookLot(rng, day, slot)
			if b.probe == failedProbe && inStory(b.made) {
				b.setMinimum(storyMinima[story])
				story++
			}
			b.heldFrom = heldSince(b)
			p.lots = append(p.lots, b)
		}
	}
}

func cookLot(rng *rand.Rand, day, slot int) *batch {
	made := at(day, 7+2*slot, 0)
	b := &batch{
		code:    fmt.Sprintf("CK-%s-%c", monthDay(day), 'A'+slot),
		product: "roast-pieces", made: made, kilograms: cookKilograms, left: cookKilograms,
		line: ovenLine, probe: probeFor(day, slot, made),
		room: rooms[slot%3].location, ready: made.Add(chillTime), daysToDispatch: 4,
	}
	if slot == 4 {
		b.orderedNextDay = 80
	}
	b.readings = coreReadings(rng, 168.6+3.4*rng.Float64())
	return b
}

// probeFor takes the probes in turn. The spare stands in for the lost one.
func probeFor(day, slot int, made time.Time) string {
	n := (day*cooksPerDay + slot) % probeRotation
	if n == 1 && made.After(probeLost) {
		return spareProbe
	}
	if n == 2 && made.After(probeFails) {
		return spareProbe
	}
	return []string{goodProbe, lostProbe, failedProbe, "HP-04"}[n]
}

// inStory says whether a lot was made between the last good check of the failed
// probe and the check it failed.
func inStory(made time.Time) bool {
	return made.After(at(lastGoodProbes, 6, 0)) && made.Before(probeFails)
}

// coreReadings are four pieces of a batch, the coldest somewhere among them.
func coreReadings(rng *rand.Rand, lowest float64) []float64 {
	out := make([]float64, 4)
	for i := range out {
		out[i] = tenth(lowest + 3.5*rng.Float64())
	}
	out[rng.IntN(len(out))] = tenth(lowest)
	return out
}

// setMinimum moves the readings of a lot so that the coldest is lowest.
func (b *batch) setMinimum(lowest float64) {
	coldest := b.readings[0]
	for _, r := range b.readings {
		coldest = min(coldest, r)
	}
	for i := range b.readings {
		b.readings[i] = tenth(b.readings[i] - coldest + lowest)
	}
}

// heldSince says when the plant stopped a lot, because a thermometer that
// vouched for it was lost or failed.
func heldSince(b *batch) time.Time {
	switch {
	case b.probe == lostProbe && b.made.After(at(lastGoodLostDay, 6, 0)):
		return probeLost
	case b.probe == failedProbe && inStory(b.made):
		return probeFails
	case b.room == failedRoom && b.made.Before(loggerFails):
		return loggerFails
	}
	return time.Time{}
}

// tenth rounds to what the displays show.
func tenth(v float64) float64 { return math.Round(v*10) / 10 }
