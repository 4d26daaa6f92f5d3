package demo

import (
	"bufio"
	"fmt"
	"io"
	"os"
	"strconv"
	"time"
)

const readingsHead = "instrument,taken_at,value,unit,lot,limit,location,taken_by,source_id\n"

// writeReadings writes every reading as it is made up, instrument after
// instrument, as a historian exports them.
func (p *plant) writeReadings(name string) (err error) {
	f, err := os.Create(name)
	if err != nil {
		return fmt.Errorf("write the readings: %w", err)
	}
	defer func() {
		if e := f.Close(); err == nil && e != nil {
			err = fmt.Errorf("write the readings: %w", e)
		}
	}()
	w := &readingWriter{w: bufio.NewWriterSize(f, 1<<18)}
	w.text(readingsHead)
	p.coreReadings(w)
	p.holdReadings(w)
	p.retortReadings(w)
	roomReadings(w)
	if err := w.w.Flush(); err != nil {
		return fmt.Errorf("write the readings: %w", err)
	}
	return nil
}

// source is what the readings of one stream have in common.
type source struct {
	instrument, unit, lot, limit, location, by string
}

// readingWriter writes lines of readings.csv. It keeps no error: the buffered
// writer does, and says so when it is flushed.
type readingWriter struct {
	w    *bufio.Writer
	line []byte
}

func (w *readingWriter) text(s string) { _, _ = io.WriteString(w.w, s) }

// reading writes one reading with the one decimal that the displays show.
func (w *readingWriter) reading(s source, when time.Time, value float64, id string) {
	b := append(w.line[:0], s.instrument...)
	b = when.AppendFormat(append(b, ','), time.RFC3339)
	b = strconv.AppendFloat(append(b, ','), tenth(value), 'f', 1, 64)
	for _, field := range [...]string{s.unit, s.lot, s.limit, s.location, s.by, id} {
		b = append(append(b, ','), field...)
	}
	w.line = append(b, '\n')
	_, _ = w.w.Write(w.line)
}

// coreReadings are the hand-held readings at the ovens.
func (p *plant) coreReadings(w *readingWriter) {
	n := 0
	for _, b := range p.lots {
		s := source{instrument: b.probe, unit: "F", lot: b.code, limit: limitCook, location: b.line, by: "op-" + b.code[len(b.code)-1:]}
		for i, v := range b.readings {
			n++
			w.reading(s, b.made.Add(time.Duration(i)*3*time.Minute), v, fmt.Sprintf("cook-%06d", n))
		}
	}
}
