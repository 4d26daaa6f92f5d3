package exchange

import (
	"testing"
	"time"
)

func TestSentencesTellThePlantsTime(t *testing.T) {
	t.Parallel()
	chicago, err := time.LoadLocation("America/Chicago")
	if err != nil {
		t.Fatal(err)
	}
	for was, want := range map[string]string{
		"1 gap: 50m from 2026-08-07T14:20:00Z to 2026-08-07T15:10:00Z": "1 gap: 50m from 2026-08-07T09:20:00-05:00 to 2026-08-07T10:10:00-05:00",
		"the check of 2026-12-01 00:30 UTC does not count":             "the check of 2026-11-30 18:30 -06:00 does not count",
		"no time at all: lot 2026-08-07":                               "no time at all: lot 2026-08-07",
		"2026-99-07T14:20:00Z is none":                                 "2026-99-07T14:20:00Z is none",
	} {
		if got := inZone(was, chicago); got != want {
			t.Errorf("%s\nbecame %s\nwant   %s", was, got, want)
		}
	}
}
