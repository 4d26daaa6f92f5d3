package demo

import "time"

// The inventory numbers of the instruments in the story.
const (
	failedProbe   = "HP-03" // reads high at the cook step
	lostProbe     = "HP-02" // is lost
	spareProbe    = "HP-05" // takes its place
	goodProbe     = "HP-01"
	pasteuriser   = "PT-01"
	retortRec     = "RR-01" // reads low: hotter than recorded
	failedLogger  = "CL-03" // reads low: warmer than recorded
	spareLogger   = "CL-06" // takes its place
	reference     = "REF-01"
	failedRoom    = "cold-3"
	ovenLine      = "oven-1"
	reworkLine    = "oven-2"
	holdingTube   = "holding-tube"
	retortVessel  = "retort-1"
	dryStore      = "dry-store"
	dispatchDock  = "dispatch"
	dessertRoom   = "cold-4"
	limitCook     = "cook-core"
	limitCustard  = "custard-hold"
	limitRetort   = "retort-f0"
	limitChill    = "chill-store"
	probeRotation = 4
)

// rooms are the cold rooms with the logger that hangs in each from the start.
var rooms = []struct{ location, logger string }{
	{"cold-1", "CL-01"}, {"cold-2", "CL-02"}, {failedRoom, failedLogger}, {dessertRoom, "CL-04"}, {dispatchDock, "CL-05"},
}

var instrumentRows = [][]string{
	{goodProbe, "hand-held probe, oven line", "thermocouple", "working", "food_safety", "F", "0.1", "1.0", "-40", "400", "false", "7", "2026-01-12T06:00:00-06:00"},
	{lostProbe, "hand-held probe, oven line", "thermocouple", "working", "food_safety", "F", "0.1", "1.0", "-40", "400", "false", "7", "2026-01-12T06:00:00-06:00"},
	{failedProbe, "hand-held probe, oven line", "thermocouple", "working", "food_safety", "F", "0.1", "1.0", "-40", "400", "false", "7", "2026-03-02T06:00:00-06:00"},
	{"HP-04", "hand-held probe, oven line", "thermocouple", "working", "food_safety", "F", "0.1", "1.0", "-40", "400", "false", "7", "2026-03-02T06:00:00-06:00"},
	{spareProbe, "hand-held probe, from the spares", "thermocouple", "working", "food_safety", "F", "0.1", "1.0", "-40", "400", "false", "7", "2026-08-19T15:00:00-05:00"},
	{pasteuriser, "indicating thermometer, holding tube", "rtd", "working", "food_safety", "C", "0.1", "0.5", "0", "120", "true", "7", "2025-09-01T06:00:00-05:00"},
	{retortRec, "recorder with a core probe, retort 1", "recorder", "working", "food_safety", "C", "0.1", "0.5", "0", "150", "true", "7", "2025-09-01T06:00:00-05:00"},
	{"CL-01", "logger, cold room 1", "logger", "working", "food_safety", "C", "0.1", "0.5", "-40", "60", "false", "14", "2026-02-02T06:00:00-06:00"},
	{"CL-02", "logger, cold room 2", "logger", "working", "food_safety", "C", "0.1", "0.5", "-40", "60", "false", "14", "2026-02-02T06:00:00-06:00"},
	{failedLogger, "logger, cold room 3", "logger", "working", "food_safety", "C", "0.1", "0.5", "-40", "60", "false", "14", "2026-02-02T06:00:00-06:00"},
	{"CL-04", "logger, dessert room", "logger", "working", "food_safety", "C", "0.1", "0.5", "-40", "60", "false", "14", "2026-02-02T06:00:00-06:00"},
	{"CL-05", "logger, dispatch dock", "logger", "working", "food_safety", "C", "0.1", "0.5", "-40", "60", "false", "14", "2026-02-02T06:00:00-06:00"},
	{spareLogger, "logger, from the spares", "logger", "working", "food_safety", "C", "0.1", "0.5", "-40", "60", "false", "14", "2026-08-31T06:00:00-05:00"},
	{reference, "reference thermometer for the dry well and the bath", "rtd", "reference", "food_safety", "C", "0.01", "0.1", "-40", "200", "false", "28", "2026-02-16T06:00:00-06:00"},
}

// certificateRows are the points of the reference's certificate.
var certificateRows = [][]string{
	{reference, "FV-2026-0211", "2026-02-11T00:00:00-06:00", "2027-02-11T00:00:00-06:00", "0.00", "0.00", "0.05", "C"},
	{reference, "FV-2026-0211", "2026-02-11T00:00:00-06:00", "2027-02-11T00:00:00-06:00", "50.00", "0.01", "0.05", "C"},
	{reference, "FV-2026-0211", "2026-02-11T00:00:00-06:00", "2027-02-11T00:00:00-06:00", "100.00", "0.02", "0.05", "C"},
	{reference, "FV-2026-0211", "2026-02-11T00:00:00-06:00", "2027-02-11T00:00:00-06:00", "130.00", "0.02", "0.06", "C"},
}

const (
	removedAfter  = 15 * time.Minute // from the failed check of the probe to its removal from use
	replacedAfter = 20 * time.Minute // from the failed check of the logger to the first reading of the spare
)

func mountingRows() [][]string {
	var out [][]string
	for _, r := range rooms {
		to := ""
		if r.logger == failedLogger {
			to = stamp(loggerFails)
		}
		out = append(out, []string{r.logger, r.location, "2026-02-02T06:00:00-06:00", to})
	}
	return append(out, []string{spareLogger, failedRoom, stamp(loggerFails.Add(replacedAfter)), ""})
}

// disturb records what happened to the instruments.
func (p *plant) disturb() {
	p.events = [][]string{
		{lostProbe, stamp(probeLost), "removed_from_use", "not found at the end of the shift, probably gone with the waste"},
		{retortRec, stamp(at(retortFailsDay, 5, 50)), "adjusted", "found low, adjusted after the as-found was written down"},
		{failedProbe, stamp(at(24, 16, 30)), "dropped", "fell off the bench; told to nobody until the check on Monday"},
		{failedProbe, stamp(probeFails.Add(removedAfter)), "removed_from_use", "out of tolerance, in the quarantine drawer"},
		{failedLogger, stamp(loggerFails), "removed_from_use", "out of tolerance, not hung up again"},
	}
}
