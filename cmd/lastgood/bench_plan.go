package main

import (
	"fmt"
	"math"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/reading"
)

// The data: half a year of readings once a minute, of two instruments that then
// fail their check and of others, a lot every four hours; then what a large
// plant sends, slab after slab.
const (
	history    = 180 * 24 * 60 // minutes
	slabLength = 125           // minutes
	lotLength  = 4 * time.Hour
	lines      = 20 // on which the instruments of the slabs are
)

var (
	firstDay  = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	lastDay   = firstDay.Add(history * time.Minute) // the checks fail then
	firstSlab = lastDay.AddDate(0, 0, 2)            // room for readings that come late, in one month
)

// benchPolicy has a limit of each sort that costs differently.
const benchPolicy = `
limits:
  - {limit: cook, kind: at_least, temperature: 71 C, hazard: salmonella}
  - {limit: heat, kind: lethality, reference: 70 C, z: 7.5 K, minutes: 2.0, max_gap: 5m, monitoring: continuous, hazard: listeria}
severities: {salmonella: serious, listeria: serious}
`

// cooker and heater are the instruments that fail.
const (
	cooker = "T-COOK"
	heater = "T-HEAT"
)

// plan says what data a number of rows means.
type plan struct {
	past   []stretchOf // instrument by instrument, as a closed month lies
	sender int         // instruments that send slabs
}

// stretchOf is a past instrument and how many minutes of readings it has.
type stretchOf struct {
	code, limit string
	minutes     int
}

// newPlan gives each failing instrument about a quarter of the rows, at most
// half a year.
func newPlan(rows int) plan {
	p := plan{sender: rows / 500}
	hot := min(history, rows*26/100)
	p.past = []stretchOf{{cooker, "cook", hot}, {heater, "heat", hot}}
	for left := rows - 2*hot; left > 0; left -= history {
		p.past = append(p.past, stretchOf{fmt.Sprintf("T-PAST-%03d", len(p.past)), "cook", min(left, history)})
	}
	return p
}

func senderCode(i int) string { return fmt.Sprintf("T-%04d", i) }

// lotOf is the lot of a line at a time.
func lotOf(line string, at time.Time) string {
	return line + "-" + at.Truncate(lotLength).Format("060102-15")
}

// each hands out the readings of a past instrument, up to the last day.
func (s stretchOf) each(yield func(reading.Reading) bool) {
	for m := range s.minutes {
		at := lastDay.Add(time.Duration(m-s.minutes+1) * time.Minute)
		if !yield(benchReading(s.code, lotOf(s.code, at), s.limit, at, m)) {
			return
		}
	}
}

// slab is what the senders send in a slab's time, as it arrives: minute by
// minute, one in a hundred six hours late.
func (p plan) slab(number int, lots bool) []reading.Reading {
	list := make([]reading.Reading, 0, slabLength*p.sender)
	for m := range slabLength {
		for i := range p.sender {
			at := firstSlab.Add(time.Duration(number*slabLength+m) * time.Minute)
			if (m*7+i)%100 == 99 {
				at = at.Add(-6 * time.Hour)
			}
			code := ""
			if lots {
				code = lotOf(fmt.Sprintf("LINE-%02d", i%lines), at)
			}
			list = append(list, benchReading(senderCode(i), code, "cook", at, number*slabLength+m))
		}
	}
	return list
}

// benchReading wanders slowly around 73.5 °C, with a flutter on top; n numbers
// the instrument's readings.
func benchReading(code, lotCode, limit string, at time.Time, n int) reading.Reading {
	x := 73.5 + 1.2*math.Sin(float64(n)/300) + 0.1*float64(uint32(n)*2654435761>>29)
	return reading.Reading{Instrument: code, TakenAt: at, Value: math.Round(x*10) / 10, Decimals: 1, Unit: unit.CelsiusScale,
		Lot: lotCode, Limit: limit, SourceID: fmt.Sprintf("%s/%d", code, n)}
}
