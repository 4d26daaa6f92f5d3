package exchange

import (
	"io"
	"iter"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"time"
	"unicode/utf8"
)

// record is one row of a table: its values by column and what is wrong with
// them. One record is used for all rows of a file.
type record struct {
	table   table
	columns []string
	file    string
	line    int
	value   []string // by column; empty: unknown
	bad     []Problem
	zone    *time.Location // of the site; nil: unknown
}

func newRecord(file string, t table) *record {
	columns := t.columns()
	return &record{table: t, columns: columns, file: file, value: make([]string, len(columns))}
}

// rows cuts a file into records.
type rows interface {
	// next fills r with the next row, or with what is wrong with the row as a
	// whole. It returns false at the end; r.bad then says if that came too early.
	next(r *record) bool
}

// records returns the rows of the file, one after the other, in the same record.
// A row with problems is returned too. What is wrong with the file as a whole
// comes as a last record that has nothing but problems. Bytes taken off the disk
// are counted in n.
func (s source) records(t table, n *atomic.Int64) iter.Seq[*record] {
	return func(yield func(*record) bool) {
		r := newRecord(s.name, t)
		r.zone = s.zone
		file, err := os.Open(filepath.Join(s.dir, s.name))
		if err != nil {
			r.fail("", unreadable(err))
			yield(r)
			return
		}
		defer file.Close()
		in, f := newText(s.name, &counter{file, n})
		if f != nil {
			r.fail("", f)
			yield(r)
			return
		}
		defer in.close()
		in.records(r)(yield)
	}
}

// records returns the rows of the text in r.
func (t *text) records(r *record) iter.Seq[*record] {
	return func(yield func(*record) bool) {
		for from := t.rows(r); from.next(r); r.bad = nil {
			if !yield(r) {
				return
			}
		}
		if len(r.bad) > 0 {
			yield(r)
		}
	}
}

func (t *text) rows(r *record) rows {
	if _, err := t.Peek(1); err == io.EOF {
		r.fail("", emptyFile())
		return nothing{}
	}
	if t.lines() {
		return newJSONRows(t)
	}
	return newCSVRows(t, r)
}

// emptyFile is the flaw of a file without even a header. Nothing to report has a
// header; nothing at all is an export that was broken off.
func emptyFile() *flaw { return flawf("empty-file", "the file is empty") }

// nothing is the rows of a file that has none.
type nothing struct{}

func (nothing) next(*record) bool { return false }

// readTable returns the rows of a file in memory.
func readTable[T any](s source, t table, decode func(*record) T) ([]Row[T], []Problem) {
	if s.name == "" {
		return nil, nil
	}
	return collect(s.records(t, new(atomic.Int64)), decode)
}

// collect returns all rows, and all problems of those that have any.
func collect[T any](records iter.Seq[*record], decode func(*record) T) (list []Row[T], bad []Problem) {
	for r := range records {
		if v, ok := decoded(r, decode); ok {
			list = append(list, Row[T]{r.file, r.line, v})
		}
		bad = append(bad, r.bad...)
	}
	return list, bad
}

// decoded returns the value of r, false if something is wrong with it.
func decoded[T any](r *record, decode func(*record) T) (v T, ok bool) {
	if len(r.bad) == 0 {
		v = decode(r)
	}
	return v, len(r.bad) == 0
}

// fail notes what is wrong with a column of r, once.
func (r *record) fail(column string, f *flaw) {
	if f.rule == offsetRequired && r.zone != nil {
		f = localFlaw(r.value[r.column(column)], r.zone)
	}
	for _, p := range r.bad {
		if p.Column == column && p.Rule == f.rule && column != "" {
			return // two quantities share a unit, and both ask for it
		}
	}
	r.bad = append(r.bad, Problem{File: r.file, Line: r.line, Column: column, Rule: f.rule, Detail: f.detail})
}

// wellFormed refuses a value that is not text.
func wellFormed(s string) *flaw {
	if strings.IndexByte(s, 0) >= 0 {
		return flawf("nul-character", "%s has a NUL character in it", quote(s))
	}
	if !utf8.ValidString(s) {
		return flawf("not-utf8", "%s is not UTF-8: save the file as UTF-8", quote(s))
	}
	return nil
}
