package gs1

import (
	"errors"
	"strconv"
	"time"
)

// Date returns the day that the six digits of a date mean for somebody who reads
// them in a year: midnight UTC of that day. Day 00 is the last of its month, the
// latest that the label can mean. The century is the one that puts the date
// between 49 years before and 50 years after that year: GS1 General
// Specifications, "Determination of century in dates".
func Date(yymmdd string, year int) (time.Time, error) {
	t, why := day(yymmdd, year)
	if why != "" {
		return time.Time{}, errors.New(why)
	}
	return t, nil
}

// day also says why it is none.
func day(s string, year int) (t time.Time, why string) {
	if len(s) != 6 || !allDigits(s) {
		return t, "a date has six digits: year, month, day"
	}
	yy, mm, dd := pair(s[0:]), pair(s[2:]), pair(s[4:])
	if mm < 1 || mm > 12 {
		return t, "there is no month " + s[2:4]
	}
	y := year - year%100 + yy
	switch ahead := yy - year%100; {
	case ahead >= 51:
		y -= 100
	case ahead <= -50:
		y += 100
	}
	if dd == 0 {
		return time.Date(y, time.Month(mm)+1, 0, 0, 0, 0, 0, time.UTC), ""
	}
	if t = time.Date(y, time.Month(mm), dd, 0, 0, 0, 0, time.UTC); t.Day() != dd {
		return time.Time{}, "there is no day " + s[4:6] + " in month " + s[2:4] + " of " + strconv.Itoa(y)
	}
	return t, ""
}

func pair(s string) int { return int(s[0]-'0')*10 + int(s[1]-'0') }

func number(n int) string { return strconv.Itoa(n) }
