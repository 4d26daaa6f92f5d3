package demo

import "time"

// zone is the plant's time, five hours behind UTC. No clock change falls into
// the five weeks.
var zone = time.FixedZone("", -5*60*60)

// weeks is how long the story lasts.
const (
	weeks = 5
	days  = 7 * weeks
)

// at returns an hour of a day, day 0 being Monday, 3 August 2026.
func at(day, hour, minute int) time.Time {
	return time.Date(2026, time.August, 3+day, hour, minute, 0, 0, zone)
}

// The days of the story, counted from Monday, 3 August 2026.
const (
	probeLostDay    = 16 // Wednesday, 19 August
	retortFailsDay  = 21 // Monday, 24 August
	probeFailsDay   = 28 // Monday, 31 August
	loggerFailsDay  = probeFailsDay
	loggerGoodDay   = 14 // Monday, 17 August
	warmDoorDay     = 17 // Thursday, 20 August
	warmNightDay    = 26 // Saturday, 29 August
	reworkDay       = 26
	lastGoodProbes  = 21 // Monday, 24 August
	lastGoodLostDay = 14
)

var (
	begin = at(0, 7, 0)    // first reading of the loggers
	end   = at(days, 7, 0) // and the last is a minute earlier

	probeLost   = at(probeLostDay, 14, 20)
	probeFails  = at(probeFailsDay, 5, 40)
	loggerFails = at(loggerFailsDay, 6, 0)
)

// works says whether the plant cooks on a day: not on Sundays.
func works(day int) bool { return day%7 != 6 }

// stamp writes a time as the exchange format wants it.
func stamp(t time.Time) string { return t.Format(time.RFC3339) }

// monthDay is the part of a lot code that says when it was made.
func monthDay(day int) string { return at(day, 12, 0).Format("0102") }
