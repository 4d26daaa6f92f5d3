package exchange

import (
	"iter"
	"strings"

	"lastgood/policy/unit"
	"lastgood/workflow/reading"
)

var readingTable = table{
	name:     "readings",
	required: []string{"instrument", "taken_at", "value", "unit"},
	optional: []string{"lot", "limit", "location", "taken_by", "source_id"},
}

// Readings streams the readings in the order of the file, with little memory
// however large it is. A row that is wrong comes once for each thing wrong with
// it, with a problem and no value; the next row follows. A file that breaks off
// ends the stream with a problem that names the line reached.
//
// Each call reads the file anew.
func (f *Folder) Readings() iter.Seq2[Row[reading.Reading], *Problem] {
	return func(yield func(Row[reading.Reading], *Problem) bool) {
		if f.readings.name == "" {
			return
		}
		f.progress.Store(0)
		readings(f.readings.records(readingTable, &f.progress))(yield)
	}
}

func readings(records iter.Seq[*record]) iter.Seq2[Row[reading.Reading], *Problem] {
	return func(yield func(Row[reading.Reading], *Problem) bool) {
		d := newReadingDecoder()
		for r := range records {
			v, ok := decoded(r, d.decode)
			if ok && !yield(Row[reading.Reading]{r.file, r.line, v}, nil) {
				return
			}
			for _, p := range r.bad {
				if !yield(Row[reading.Reading]{File: r.file, Line: r.line}, &p) {
					return
				}
			}
		}
	}
}

// readingDecoder decodes readings. A plant's readings name few things many
// times: each name is checked and kept once.
type readingDecoder struct {
	known map[string]string
	marks [2]map[string]string // names of product and of places, as they were written
}

// mostKnown bounds what is kept. Beyond it the file names more things than it
// repeats.
const mostKnown = 1 << 16

func (d *readingDecoder) decode(r *record) (v reading.Reading) {
	v.Instrument = d.code(r, "instrument")
	v.TakenAt = required(r, "taken_at", parseTime)
	v.Unit = required(r, "unit", parseScale)
	v.Value, v.Decimals = indication(r, v.Unit)
	v.Lot = d.mark(r, "lot", Product)
	v.Limit = d.code(r, "limit")
	v.Location = d.mark(r, "location", Place)
	v.TakenBy = d.code(r, "taken_by")
	if s := r.raw("source_id"); s != "" {
		v.SourceID = strings.Clone(required(r, "source_id", parseCode)) // never the same twice
	}
	return v
}

// indication returns the value and how many decimals it was reported with.
func indication(r *record, s unit.Scale) (float64, int8) {
	text := r.raw("value")
	if text == "" {
		return 0, 0
	}
	v, decimals, f := parseIndication(text, s)
	if f != nil {
		r.fail("value", f)
	}
	return v, decimals
}

// required is parsed without the pointer, for the hot path.
func required[T any](r *record, column string, parse func(string) (T, *flaw)) (v T) {
	s := r.raw(column)
	if s == "" {
		return v
	}
	v, f := parse(s)
	if f != nil {
		r.fail(column, f)
	}
	return v
}

func newReadingDecoder() readingDecoder {
	return readingDecoder{known: map[string]string{}, marks: [2]map[string]string{{}, {}}}
}

// code returns the name of something, the same string for the same name.
func (d *readingDecoder) code(r *record, column string) string {
	return once(d.known, r, column, parseCode)
}

// mark returns the name of product or of a place, the same string for the same
// name.
func (d *readingDecoder) mark(r *record, column string, of Marked) string {
	return once(d.marks[of], r, column, func(s string) (string, *flaw) { return parseMark(s, of) })
}

func once(known map[string]string, r *record, column string, parse func(string) (string, *flaw)) string {
	s := r.raw(column)
	if s == "" {
		return ""
	}
	if have, ok := known[s]; ok {
		return have
	}
	name, f := parse(s)
	if f != nil {
		r.fail(column, f)
		return ""
	}
	if len(known) >= mostKnown {
		clear(known)
	}
	s = strings.Clone(s) // or one name would keep its whole row in memory
	known[s] = strings.Clone(name)
	return known[s]
}
