package reading

import (
	"strconv"
	"time"

	"lastgood/workflow/pg"
)

// encoder writes rows as COPY text. Every value is a number, so nothing needs
// escaping.
type encoder struct {
	plant   pg.PlantID
	batch   int32
	indexed bool // the row's index follows
	date    dateText
}

func (e *encoder) appendRow(b []byte, r *row) []byte {
	b = e.date.appendTime(b, r.at)
	b = append(b, '\t')
	b = strconv.AppendFloat(b, r.value, 'g', -1, 64)
	b = append(b, '\t')
	if r.lot == 0 {
		b = append(b, `\N`...)
	} else {
		b = strconv.AppendInt(b, int64(r.lot), 10)
	}
	for _, n := range [...]int64{r.source, int64(e.plant), int64(r.instrument), int64(e.batch), int64(r.context)} {
		b = append(b, '\t')
		b = strconv.AppendInt(b, n, 10)
	}
	if e.indexed {
		b = append(b, '\t')
		b = strconv.AppendInt(b, int64(r.index), 10)
	}
	return b
}

// dateText is the text of the day that was written last: rows come in order of
// time, and the date is what costs.
type dateText struct {
	day  int64 // since 1970
	text []byte
}

// dayLength is a UTC day [µs].
const dayLength = 24 * 60 * 60 * 1_000_000

// appendTime appends a time as PostgreSQL reads it: 2025-03-01 06:00:00.5+00.
func (d *dateText) appendTime(b []byte, at int64) []byte {
	day, rest := at/dayLength, at%dayLength
	if rest < 0 { // before 1970
		day, rest = day-1, rest+dayLength
	}
	if d.text == nil || day != d.day {
		d.day, d.text = day, time.UnixMicro(day*dayLength).UTC().AppendFormat(d.text[:0], "2006-01-02 ")
	}
	b = append(b, d.text...)
	s := rest / 1_000_000
	b = appendTwo(b, s/3600)
	b = appendTwo(append(b, ':'), s/60%60)
	b = appendTwo(append(b, ':'), s%60)
	if us := rest % 1_000_000; us != 0 {
		b = append(b, '.')
		b = appendTwo(appendTwo(appendTwo(b, us/10_000), us/100%100), us%100)
	}
	return append(b, "+00"...)
}

func appendTwo(b []byte, n int64) []byte { return append(b, byte('0'+n/10), byte('0'+n%10)) }
