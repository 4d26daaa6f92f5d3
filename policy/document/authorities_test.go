package document

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/clock"
)

func TestAuthorities(t *testing.T) {
	t.Parallel()
	concern := func(text string) (out []string) {
		for _, a := range parse(t, besides(text)).Concern() {
			out = append(out, a.ID)
		}
		return out
	}
	for text, want := range map[string][]string{
		"":                                 {"fsis", "fda_rf", "canada", "eu", "fda_lacf"}, // not said: everyone is assessed
		"authorities: [fda_rf, fsis]":      {"fsis", "fda_rf"},
		"authorities: []":                  nil,
		"authorities: [records_request]":   nil,
		"authorities: [eu]\nregimes: [eu]": {"eu"},
	} {
		if diff := cmp.Diff(want, concern(text)); diff != "" {
			t.Errorf("%q:\n%s", text, diff)
		}
	}
	if got := parse(t, besides("determination_within: 8h")).DeterminationWithin; got != 8*time.Hour {
		t.Errorf("%v", got)
	}
	if got := parse(t, besides("")).DeterminationWithin; got != DefaultDetermination {
		t.Errorf("%v", got)
	}
}

func TestCalendar(t *testing.T) {
	t.Parallel()
	c := parse(t, besides(`calendar: {works: [mon, tue, sat], closed: {2026-11-26: "holiday"}, open: {2026-11-29: worked for it}, cut_off: 15h, closes: 17h}`)).Calendar(time.UTC)
	for day, works := range map[int]bool{23: true, 25: false, 26: false, 28: true, 29: true, 30: true} { // 23 November 2026 is a Monday
		if got, why := c.Working(clock.Date{Year: 2026, Month: 11, Day: day}); got != works {
			t.Errorf("on the %d.: %v %s", day, got, why)
		}
	}
	if c.CutOff != 15*time.Hour || c.Closes != 17*time.Hour || c.Zone != time.UTC {
		t.Errorf("%+v", c)
	}
	if c = parse(t, besides("")).Calendar(time.UTC); c.Works != clock.WorkingWeek {
		t.Errorf("%+v", c)
	}
}

func TestAuthoritiesAndCalendarAreRefused(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]Problem{
		"authorities: [fsis, usda]":              {Line: 1, Column: 21, Path: "authorities[1]", Rule: "unknown-word"},
		"authorities: [fsis, fsis]":              {Line: 1, Column: 21, Path: "authorities[1]", Rule: "duplicate-word"},
		"authorities: fsis":                      {Line: 1, Column: 14, Path: "authorities", Rule: "wrong-type"},
		"determination_within: 30m":              {Line: 1, Column: 23, Path: "determination_within", Rule: "out-of-range"},
		"calendar: {works: []}":                  {Line: 1, Column: 19, Path: "calendar.works", Rule: "empty"},
		"calendar: {works: [monday]}":            {Line: 1, Column: 20, Path: "calendar.works[0]", Rule: "unknown-word"},
		`calendar: {closed: {11/26: "holiday"}}`: {Line: 1, Column: 21, Path: "calendar.closed.11/26", Rule: "bad-date"},
		"calendar: {closed: {2026-11-26: }}":     {Line: 1, Column: 33, Path: "calendar.closed.2026-11-26", Rule: "wrong-type"},
		"calendar: {cut_off: 24h}":               {Line: 1, Column: 21, Path: "calendar.cut_off", Rule: "out-of-range"},
		"calendar: {holidays: {}}":               {Line: 1, Column: 12, Path: "calendar.holidays", Rule: "unknown-key"},
	} {
		_, problems := Parse([]byte(text + "\nlimits: [{limit: cook, kind: at_least, temperature: 165 F}]\n"))
		for i := range problems {
			problems[i].Detail = ""
		}
		if diff := cmp.Diff([]Problem{want}, problems); diff != "" {
			t.Errorf("%s:\n%s", text, diff)
		}
	}
}
