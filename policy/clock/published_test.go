package clock_test

import (
	"encoding/csv"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"lastgood/policy/clock"
)

const obligations = "../../testdata/published/regulatory/obligations.csv"

// stated are the clocks as the rows word them, each worked out by hand from one
// start in a plant in Chicago that is closed on Thu 2026-11-26.
var stated = map[string]struct {
	rule       clock.Rule
	start, due string
}{
	// design notes on the procedure, §11: over the end of summer time
	"24 h":        {clock.Rule{Count: 24, Unit: clock.Hours}, "2026-10-31T15:00:00-05:00", "2026-11-01T14:00:00-06:00"},
	"immediately": {clock.Rule{Count: 0, Unit: clock.Hours}, "2026-10-31T15:00:00-05:00", "2026-10-31T15:00:00-05:00"},
	// design notes on the procedure, §11: due Tue 2026-12-01, that is until it is over
	"7 working days": {clock.Rule{Count: 7, Unit: clock.WorkingDays}, "2026-11-19T10:00:00-06:00", "2026-12-02T00:00:00-06:00"},
	"1 working day":  {clock.Rule{Count: 1, Unit: clock.WorkingDays}, "2026-11-25T22:00:00-06:00", "2026-11-28T00:00:00-06:00"},
	"7 days":         {clock.Rule{Count: 7, Unit: clock.CalendarDays}, "2026-11-19T10:00:00-06:00", "2026-11-27T00:00:00-06:00"},
	"1 week":         {clock.Rule{Count: 7, Unit: clock.CalendarDays}, "2026-11-19T10:00:00-06:00", "2026-11-27T00:00:00-06:00"},
	"2-4 weeks":      {clock.Rule{Count: 28, Unit: clock.CalendarDays}, "2026-11-19T10:00:00-06:00", "2026-12-18T00:00:00-06:00"}, // the later end
	"daily":          {clock.Rule{Count: 1, Unit: clock.CalendarDays}, "2026-10-31T15:00:00-05:00", "2026-11-02T00:00:00-06:00"},
	"3 months":       {clock.Rule{Count: 3, Unit: clock.Months}, "2026-11-30T10:00:00-06:00", "2027-03-01T00:00:00-06:00"},
	"quarterly":      {clock.Rule{Count: 3, Unit: clock.Months}, "2026-11-30T10:00:00-06:00", "2027-03-01T00:00:00-06:00"},
	"12 months":      {clock.Rule{Count: 12, Unit: clock.Months}, "2028-02-29T10:00:00-06:00", "2029-03-01T00:00:00-06:00"},
	"yearly":         {clock.Rule{Count: 12, Unit: clock.Months}, "2028-02-29T10:00:00-06:00", "2029-03-01T00:00:00-06:00"},
	"1 year":         {clock.Rule{Count: 12, Unit: clock.Months}, "2026-12-31T23:59:59-06:00", "2028-01-01T00:00:00-06:00"},
	"1 y":            {clock.Rule{Count: 12, Unit: clock.Months}, "2026-12-31T23:59:59-06:00", "2028-01-01T00:00:00-06:00"},
	"2 years":        {clock.Rule{Count: 24, Unit: clock.Months}, "2026-06-30T10:00:00-05:00", "2028-07-01T00:00:00-05:00"},
	"2 y":            {clock.Rule{Count: 24, Unit: clock.Months}, "2026-06-30T10:00:00-05:00", "2028-07-01T00:00:00-05:00"},
	"3 years":        {clock.Rule{Count: 36, Unit: clock.Months}, "2026-06-30T10:00:00-05:00", "2029-07-01T00:00:00-05:00"},
}

// noClock are the rows that state none, with the reason.
var noClock = map[string]string{
	"no duty with a time of its own": `PC-01 PC-27 PC-31 JU-09 LA-13 PM-07 FS-10 FS-13 FS-19 EU-13 CA-11 RF-01 RF-02 RF-04 RC-01 RC-02 RC-03 RC-04
		RC-07 RC-08 RC-09 RC-14 RC-16`,
	"from time to time or all the time, without a number": `PC-02 PC-04 PC-05 PC-07 PC-09 PC-18 PC-20 PC-23 PC-29 PC-30 JU-04 JU-06 JU-10 SF-04 LA-03 LA-05 AC-01 PM-03
		FS-01 FS-05 FS-07 CX-01 CX-06 CX-07 EU-01 EU-02 EU-05 CA-08`,
	"when something happens, without a number": `PC-08 PC-10 PC-11 PC-14 PC-17 PC-25 PC-32 JU-01 JU-03 JU-07 SF-01 SF-03 LA-02 LA-06 LA-08 LA-09 LA-10 LA-16
		AC-04 PM-02 PM-06 FS-02 FS-04 FS-08 FS-12 FS-15 FS-18 FS-22 FS-24 FS-25 CX-02 CX-03 CX-05 CX-08 EU-03 EU-04
		EU-07 CA-10 RF-05 RC-05 RC-06 TR-01 TR-02 TR-03 TR-04 TR-07 RA-01 RA-03 RA-04 RA-05`,
	"before or until something happens, without a number": `PC-03 PC-06 PC-12 PC-13 PC-19 PC-26 PC-28 PC-36 JU-02 SF-02 LA-04 LA-07 LA-15 AC-02 AC-03 FS-03 FS-09 FS-14
		FS-17 FS-20 FS-21 FS-26 CX-04 EU-06 CA-04 RC-11 RC-15 RA-02`,
	"a word where a number would be: the plant sets one": `PC-15 PC-16 PC-22 PC-34 SF-09 LA-14 AC-06 RC-12`,
	"a day of the calendar and no clock":                 `TR-08`,
}

// wording finds the clocks in what a row says of its time.
var wording = regexp.MustCompile(`\d+(-\d+)? (h|hours|days?|working days?|weeks?|months|years?|y)\b|\b(yearly|quarterly|daily|immediately)\b`)

func TestObligations(t *testing.T) {
	t.Parallel()
	f, err := os.Open(obligations)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	without := map[string]string{}
	for why, ids := range noClock {
		for _, id := range strings.Fields(ids) {
			if without[id] != "" {
				t.Errorf("%s is listed twice", id)
			}
			without[id] = why
		}
	}
	used := map[string]bool{}
	for _, row := range rows[1:] {
		id, says := row[0], wording.FindAllString(row[6], -1)
		switch why := without[id]; {
		case why == "" && len(says) == 0:
			t.Errorf("%s is neither computed nor listed: %q", id, row[6])
		case why != "" && len(says) > 0:
			t.Errorf("%s is listed as %q and states %q", id, why, says)
		}
		delete(without, id)
		for _, text := range says {
			used[text] = true
			computes(t, id, text)
		}
	}
	for id := range without {
		t.Errorf("%s is listed and no row", id)
	}
	for text := range stated {
		if !used[text] {
			t.Errorf("no row says %q", text)
		}
	}
}

func computes(t *testing.T, id, text string) {
	t.Helper()
	c, ok := stated[text]
	if !ok {
		t.Errorf("%s: what is %q?", id, text)
		return
	}
	got, err := clock.Deadline(moment(t, c.start), c.rule, plant(t, "America/Chicago"))
	if err != nil || got.At.Format(time.RFC3339) != c.due {
		t.Errorf("%s, %s from %s: until %s, %v; want %s", id, text, c.start, got.At.Format(time.RFC3339), err, c.due)
	}
}
