package demo

import (
	"math"
	"strings"
	"time"
)

// holdReadings are the pasteuriser's, a reading every second.
func (p *plant) holdReadings(w *readingWriter) {
	rng := random(seedPasteuriser)
	for _, b := range p.lots {
		if !strings.HasPrefix(b.code, "PM-") {
			continue
		}
		s := source{instrument: pasteuriser, unit: "C", lot: b.code, limit: limitCustard, location: holdingTube}
		for t := range holdSeconds + 1 {
			v := 73.1 + 0.3*math.Sin(2*math.Pi*float64(t)/180) + 0.2*rng.Float64()
			w.reading(s, b.from.Add(time.Duration(t)*time.Second), v, "")
		}
	}
}

// retortReadings are the core temperatures of the cans, a reading every minute:
// up in twenty minutes, held for fourteen, down again.
func (p *plant) retortReadings(w *readingWriter) {
	const up, held = 20, 14
	rng := random(seedRetort)
	for _, b := range p.lots {
		if !strings.HasPrefix(b.code, "RT-") {
			continue
		}
		s := source{instrument: retortRec, unit: "C", lot: b.code, limit: limitRetort, location: retortVessel}
		for m := range retortMinutes + 1 {
			v := 121.4 + 0.2*rng.Float64()
			switch {
			case m < up:
				v -= (121.4 - 60) * float64(up-m) / up
			case m > up+held:
				v -= (121.4 - 65) * float64(m-up-held) / (retortMinutes - up - held)
			}
			w.reading(s, b.from.Add(time.Duration(m)*time.Minute), v, "")
		}
	}
}

// roomReadings are the loggers', a reading every minute. In the room of the
// failed logger the spare takes over.
func roomReadings(w *readingWriter) {
	for i, r := range rooms {
		rng := random(seedRooms + uint64(i))
		s := source{instrument: r.logger, unit: "C", limit: limitChill, location: r.location}
		for t := begin; t.Before(end); t = t.Add(time.Minute) {
			v := roomTemperature(r.location, t) + 0.08*(rng.Float64()-0.5)
			if r.location == failedRoom && !t.Before(loggerFails) {
				s.instrument = spareLogger
				if t.Before(loggerFails.Add(replacedAfter)) {
					continue
				}
			}
			w.reading(s, t, v, "")
		}
	}
}

// roomTemperature is what a logger shows [°C], but for noise: the compressor's
// cycle, the doors in working hours, and two events in the room of the failed
// logger.
//
// On 20 August a door stands open for an hour and a half: recorded 4.2, and up
// to 5.6 if the logger already read low. In the night of 29 August the
// compressor trips: recorded 5.0 for fifty minutes, which is within the limit of
// 5 as recorded and above it even by the logger's last good check.
func roomTemperature(location string, t time.Time) float64 {
	if location == failedRoom {
		switch {
		case within(t, at(warmDoorDay, 13, 0), 90*time.Minute):
			return 4.2
		case within(t, at(warmNightDay, 22, 0), 50*time.Minute):
			return 5.0
		}
	}
	v := 2.6 + 0.35*math.Sin(2*math.Pi*float64(t.Unix()/60%47)/47)
	if h := t.Hour(); h >= 7 && h < 17 {
		v += 0.2
	}
	return v
}

func within(t, from time.Time, d time.Duration) bool {
	return !t.Before(from) && !t.After(from.Add(d))
}
