package exchange

import (
	"strconv"
	"time"

	"lastgood/workflow/instrument"
)

var checkTable = table{
	name:     "checks",
	required: []string{"instrument", "performed_at"},
	optional: []string{"point", "nominal", "reference", "reference_reading", "reference_uncertainty", "pressure_kpa",
		"found", "left", "unit", "performed_by", "verified_by", "outcome", "confirmed", "repeats", "spread"},
}

// unusable is the one outcome that may be imported: there is no as-found value.
const unusable = "unusable"

// decodeCheck returns one row: a check with one point, or none if the instrument
// was unusable.
func decodeCheck(r *record) instrument.Check {
	outcome := word(r, "outcome", unusable)
	c := instrument.Check{
		Instrument:  r.code("instrument"),
		PerformedAt: r.moment("performed_at"),
		PerformedBy: r.code("performed_by"),
		VerifiedBy:  r.code("verified_by"),
		Unusable:    outcome == unusable,
		Confirmed:   orZero(r.flag("confirmed")),
	}
	p := decodePoint(r)
	if outcome != r.raw("outcome") {
		return c // whether there must be a point is not known
	}
	if c.Unusable {
		for _, column := range []string{"found", "left"} {
			if r.raw(column) != "" {
				r.fail(column, flawf("unusable-with-value", "an unusable instrument shows nothing: leave %s empty, or the outcome", column))
			}
		}
		return c
	}
	pointComplete(r, p)
	c.Points = []instrument.CheckPoint{p}
	return c
}

func decodePoint(r *record) instrument.CheckPoint {
	scale := r.scale()
	return instrument.CheckPoint{
		Kind:                 word(r, "point", instrument.Ice, instrument.Boiling, instrument.Comparison),
		Unit:                 scale,
		Nominal:              r.temperature("nominal", scale),
		Reference:            r.code("reference"),
		ReferenceReading:     r.temperature("reference_reading", scale),
		ReferenceUncertainty: r.uncertainty("reference_uncertainty"),
		PressureKPa:          parsed(r, "pressure_kpa", parsePressure),
		Found:                r.temperature("found", scale),
		Left:                 r.temperature("left", scale),
		Repeats:              parsed(r, "repeats", parseRepeats),
		Spread:               r.uncertainty("spread"),
	}
}

// parseRepeats reads how often an indication was read. Once is no repeat and has
// no spread.
func parseRepeats(s string) (int, *flaw) {
	n, err := strconv.Atoi(s)
	switch {
	case err != nil:
		return 0, flawf("not-a-whole-number", "%s is not a whole number of readings", quote(s))
	case n < 2 || n > 1000:
		return 0, flawf("out-of-range", "%d is not between 2 and 1000 readings: leave it empty where the instrument was read once", n)
	}
	return n, nil
}

// pointComplete notes what a point lacks, or has that it must not have.
func pointComplete(r *record, p instrument.CheckPoint) {
	for _, column := range []string{"point", "unit"} {
		if r.raw(column) == "" {
			r.require(column)
		}
	}
	if r.raw("found") == "" {
		r.fail("found", flawf("found-required", "there is no as-found value: take it before adjusting, or write the outcome unusable"))
	}
	if (r.raw("repeats") == "") != (r.raw("spread") == "") {
		r.fail("spread", flawf("repeats-and-spread", "repeats and their spread (standard deviation) go together: write both or neither"))
	}
	switch p.Kind {
	case instrument.Comparison:
		if r.raw("reference_reading") == "" {
			r.fail("reference_reading", flawf("reference-reading-required", "a comparison needs what the reference showed"))
		}
	case instrument.Ice, instrument.Boiling:
		if r.raw("reference") != "" {
			r.fail("reference", flawf("reference-not-allowed", "at the point %s water is the reference: leave this empty, or write comparison", p.Kind))
		}
	}
}

// parsePressure reads a station pressure [kPa]. It lies between about 31 kPa at
// 9 km and 108 kPa at sea level (standard atmosphere; highest on record; both
// from memory), so that a pressure in another unit is noticed.
func parsePressure(s string) (float64, *flaw) {
	p, f := parseFloat(s)
	if f == nil && (p < 30 || p > 120) {
		f = flawf("out-of-range", "%s is no pressure of air in kPa (sea level has about 101)", quote(s))
	}
	return p, f
}

// readChecks returns the checks, each put together from its rows, wherever they
// stand in the file.
func readChecks(s source) ([]CheckRow, []Problem) {
	rows, bad := readTable(s, checkTable, decodeCheck)
	var list []CheckRow
	type key struct {
		instrument string
		at         time.Time
	}
	seen := map[key]int{}
	for _, row := range rows {
		k := key{row.Value.Instrument, row.Value.PerformedAt}
		i, ok := seen[k]
		if !ok {
			seen[k] = len(list)
			list = append(list, newCheckRow(row))
			continue
		}
		if p := list[i].join(row); p != nil {
			bad = append(bad, *p)
		}
	}
	return list, bad
}

func newCheckRow(row Row[instrument.Check]) CheckRow {
	c := CheckRow{Row: row}
	if len(row.Value.Points) > 0 {
		c.PointLines = []int{row.Line}
	}
	return c
}

// join adds the point of a row to its check. It returns what does not fit.
func (c *CheckRow) join(row Row[instrument.Check]) *Problem {
	have, v := &c.Value, row.Value
	column := ""
	switch {
	case v.PerformedBy != have.PerformedBy:
		column = "performed_by"
	case v.VerifiedBy != have.VerifiedBy:
		column = "verified_by"
	case v.Unusable != have.Unusable:
		column = "outcome"
	}
	if column != "" {
		return row.problem(column, flawf("check-differs", "the check of %s at this time has another %s on line %d", v.Instrument, column, c.Line))
	}
	have.Confirmed = have.Confirmed || v.Confirmed
	if len(v.Points) > 0 {
		have.Points = append(have.Points, v.Points[0])
		c.PointLines = append(c.PointLines, row.Line)
	}
	return nil
}
