package exchange

import (
	"regexp"
	"time"
)

// stamps are the times in sentences of the engine, which knows of no zone and
// writes them in UTC.
var stamps = regexp.MustCompile(`\d{4}-\d\d-\d\d(T\d\d:\d\d:\d\dZ| \d\d:\d\d UTC)`)

// inZone returns a sentence of the engine with its times in the plant's zone.
func inZone(sentence string, zone *time.Location) string {
	return stamps.ReplaceAllStringFunc(sentence, func(s string) string {
		for _, form := range []struct{ engine, plant string }{
			{time.RFC3339, time.RFC3339}, {"2006-01-02 15:04 UTC", "2006-01-02 15:04 -07:00"},
		} {
			if t, err := time.Parse(form.engine, s); err == nil {
				return t.In(zone).Format(form.plant)
			}
		}
		return s
	})
}

// allInZone is inZone for a list.
func allInZone(sentences []string, zone *time.Location) []string {
	out := make([]string, len(sentences))
	for i, s := range sentences {
		out[i] = inZone(s, zone)
	}
	return out
}
