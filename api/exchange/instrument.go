package exchange

import "lastgood/workflow/instrument"

var instrumentTable = table{
	name:     "instruments",
	required: []string{"instrument", "unit", "tolerance"},
	optional: []string{"description", "kind", "role", "use", "resolution", "range_low", "range_high",
		"adjustable", "check_every_days", "in_service_from"},
}

func decodeInstrument(r *record) instrument.Instrument {
	scale := r.scale()
	return instrument.Instrument{
		Code:           r.code("instrument"),
		Description:    r.note("description"),
		Kind:           word(r, "kind", instrument.Kinds...),
		Role:           word(r, "role", instrument.Working, instrument.Reference),
		Use:            word(r, "use", instrument.FoodSafety, instrument.Quality),
		Unit:           scale,
		Resolution:     r.positive("resolution"),
		Tolerance:      orZero(r.positive("tolerance")),
		RangeLow:       r.temperature("range_low", scale),
		RangeHigh:      r.temperature("range_high", scale),
		Adjustable:     orZero(r.flag("adjustable")),
		CheckEveryDays: r.days("check_every_days", 1),
		InServiceFrom:  r.at("in_service_from"),
	}
}

// readInstruments returns the instruments. A plant without one has nothing to
// check.
func readInstruments(s source) ([]Row[instrument.Instrument], []Problem) {
	list, bad := readTable(s, instrumentTable, decodeInstrument)
	if s.name != "" && len(list)+len(bad) == 0 {
		bad = append(bad, Problem{File: s.name, Rule: "no-rows", Detail: "the file has no instrument in it"})
	}
	return list, bad
}

var eventTable = table{
	name:     "events",
	required: []string{"instrument", "at", "event"},
	optional: []string{"note"},
}

func decodeEvent(r *record) instrument.Event {
	return instrument.Event{
		Instrument: r.code("instrument"),
		At:         r.moment("at"),
		Kind:       word(r, "event", instrument.EventKinds...),
		Note:       r.note("note"),
	}
}

var clockOffsetTable = table{
	name:     "clock_offsets",
	required: []string{"instrument", "from"},
	optional: []string{"to", "offset_s", "bound_s", "note"},
}

func decodeClockOffset(r *record) instrument.ClockOffset {
	from, to := r.at("from"), r.at("to")
	r.inOrder(from, to, "to")
	o := instrument.ClockOffset{
		Instrument: r.code("instrument"),
		From:       orZero(from),
		To:         to,
		Ahead:      parsed(r, "offset_s", parseSeconds),
		Bound:      orZero(parsed(r, "bound_s", parseSeconds)),
		Note:       r.note("note"),
	}
	if o.Bound < 0 {
		r.fail("bound_s", flawf("out-of-range", "bound_s must not be below zero"))
	}
	return o
}

var mountingTable = table{
	name:     "mountings",
	required: []string{"instrument", "location", "from"},
	optional: []string{"to"},
}

func decodeMounting(r *record) instrument.Mounting {
	from, to := r.at("from"), r.at("to")
	r.inOrder(from, to, "to")
	return instrument.Mounting{
		Instrument: r.code("instrument"),
		Location:   r.mark("location", Place),
		From:       orZero(from),
		To:         to,
	}
}
