package exchange

import (
	"strings"
	"time"
)

// The times that a plant's records can have. Beyond them a clock was never set,
// or a spreadsheet wrote the day it counts from.
var (
	earliest = time.Date(1990, 1, 1, 0, 0, 0, 0, time.UTC)
	latest   = time.Date(2101, 1, 1, 0, 0, 0, 0, time.UTC)
)

// parseTime reads a time as RFC 3339 writes it and returns it in UTC, cut to
// microseconds, which is what the database keeps. It is written by hand because
// it runs once for every reading; the fuzz test holds it to the standard
// library's strict reading of the RFC.
//
// Like the RFC (section 5.6) it takes t, z and a blank for T, Z and T. -00:00 is
// UTC with an unknown local offset (section 4.3), which is still one moment. A
// leap second is taken as the last microsecond before it: the database has none.
func parseTime(s string) (time.Time, *flaw) {
	t, ok := moment(s)
	if !ok {
		return time.Time{}, timeFlaw(s)
	}
	if t.Before(earliest) || !t.Before(latest) {
		return time.Time{}, flawf("out-of-range", "%s is not a time between 1990 and 2100", quote(s))
	}
	return t, nil
}

const secondsLayout = "2006-01-02T15:04:05"

func moment(s string) (time.Time, bool) {
	if len(s) < len(secondsLayout)+1 || s[4] != '-' || s[7] != '-' || !isT(s[10]) || s[13] != ':' || s[16] != ':' {
		return time.Time{}, false
	}
	year, month, day := digits(s[0:2])*100+digits(s[2:4]), digits(s[5:7]), digits(s[8:10])
	hour, minute, second := digits(s[11:13]), digits(s[14:16]), digits(s[17:19])
	// digits is hugely negative for what is no number, so that one comparison
	// catches it.
	if year < 0 || month < 1 || month > 12 || day < 1 || hour < 0 || hour > 23 ||
		minute < 0 || minute > 59 || second < 0 || second > 60 {
		return time.Time{}, false
	}
	micro, zone, ok := fraction(s[len(secondsLayout):])
	if !ok {
		return time.Time{}, false
	}
	offset, ok := zoneOffset(zone)
	if !ok {
		return time.Time{}, false
	}
	leap := second == 60
	if leap {
		second, micro = 59, 999_999
	}
	t := time.Date(year, time.Month(month), day, hour, minute, second, micro*1000, time.UTC)
	if t.Day() != day {
		return time.Time{}, false // 30 February
	}
	t = t.Add(-offset)
	if leap && !endsMonth(t) {
		return time.Time{}, false
	}
	return t, true
}

func isT(c byte) bool { return c == 'T' || c == 't' || c == ' ' }

// digits returns the number of two digits, far below zero if they are none.
func digits(s string) int {
	a, b := s[0]-'0', s[1]-'0'
	if a > 9 || b > 9 {
		return -1_000_000
	}
	return int(a)*10 + int(b)
}

// fraction cuts the decimals off the front of s, as microseconds.
func fraction(s string) (micro int, rest string, ok bool) {
	if s[0] != '.' {
		return 0, s, true
	}
	i, unit := 1, 100_000
	for ; i < len(s) && s[i]-'0' <= 9; i++ {
		micro += int(s[i]-'0') * unit
		unit /= 10
	}
	return micro, s[i:], i > 1
}

func zoneOffset(s string) (time.Duration, bool) {
	if s == "Z" || s == "z" {
		return 0, true
	}
	if len(s) != len("+00:00") || (s[0] != '+' && s[0] != '-') || s[3] != ':' {
		return 0, false
	}
	hour, minute := digits(s[1:3]), digits(s[4:6])
	if hour < 0 || hour > 23 || minute < 0 || minute > 59 {
		return 0, false
	}
	d := time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute
	if s[0] == '-' {
		d = -d
	}
	return d, true
}

// endsMonth says whether t is the last microsecond of a month, the only place
// where leap seconds are put (RFC 3339, appendix D: after 23:59:59 UTC on the
// last day of a month).
func endsMonth(t time.Time) bool {
	next := t.Add(time.Microsecond)
	return next.Day() == 1 && next.Hour() == 0 && next.Minute() == 0
}

// timeFlaw says why s is no time. A time without an offset is told apart: it is
// the usual fault of an export, and nobody may guess the offset.
func timeFlaw(s string) *flaw {
	local := strings.Replace(s, " ", "T", 1)
	for _, layout := range []string{secondsLayout, "2006-01-02T15:04", time.DateOnly} {
		if _, err := time.Parse(layout, local); err == nil {
			return flawf(offsetRequired, "%s has no offset from UTC: write 2026-03-02T06:10:00+01:00, or Z for UTC", quote(s))
		}
	}
	return flawf("bad-time", "%s is not a time as RFC 3339 writes it: 2026-03-02T06:10:00+01:00, or Z for UTC", quote(s))
}

// offsetRequired is the rule that a time without an offset breaks.
const offsetRequired = "offset-required"

// localFlaw says more of a time without an offset where the site's zone is known.
// It is refused all the same: whether the recorder's clock kept that zone only
// the plant can say. Where clocks are set back a local time happens twice, and
// where they are set forward some never happen.
func localFlaw(s string, zone *time.Location) *flaw {
	local := strings.Replace(s, " ", "T", 1)
	for _, layout := range []string{secondsLayout, "2006-01-02T15:04"} {
		wall, err := time.Parse(layout, local)
		if err != nil {
			continue
		}
		switch at := moments(wall, zone); {
		case len(at) == 0:
			return flawf("nonexistent-local-time", "%s never was in %s: clocks were set forward over it. Write the time with its offset from UTC", quote(s), zone)
		case len(at) > 1:
			return flawf("ambiguous-local-time", "%s was twice in %s, when clocks were set back: write %s or %s", quote(s), zone, written(at[0]), written(at[1]))
		default:
			return flawf(offsetRequired, "%s has no offset from UTC: write %s if it is the time in %s, or Z for UTC", quote(s), written(at[0]), zone)
		}
	}
	return timeFlaw(s)
}

// moments returns when the clocks of a zone showed a time: once, twice or never.
func moments(wall time.Time, zone *time.Location) (at []time.Time) {
	for _, near := range [...]time.Duration{-24 * time.Hour, 24 * time.Hour} { // before and after any change
		_, offset := wall.Add(near).In(zone).Zone()
		t := wall.Add(-time.Duration(offset) * time.Second).In(zone)
		shows := t.Format(secondsLayout) == wall.Format(secondsLayout)
		if shows && (len(at) == 0 || !at[0].Equal(t)) {
			at = append(at, t)
		}
	}
	return at
}

func written(t time.Time) string { return t.Format(time.RFC3339Nano) }
