package exchange

import (
	"io"
	"iter"
	"strings"
	"sync/atomic"
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
}

// rows cuts a file into records.
type rows interface {
	// next fills r with the next row, or with what is wrong with the row as a
	// whole. It returns false at the end; r.bad then says if that came too early.
	next(r *record) bool
}

// records returns the rows of the file, one after the other, in the same record.
// A row with problems is returned too. What is wrong with the file as a whole
// comes as a last record that has nothing but problems.
func (s source) records(t table, n *atomic.Int64) iter.Seq[*record] {
	return func(yield func(*record) bool) {
		r := &record{table: t, columns: t.columns(), file: s.name}
		r.value = make([]string, len(r.columns))
		in, f := s.open(n)
		if f != nil {
			r.fail("", f)
			yield(r)
			return
		}
		defer in.close()
		for from := s.rows(in, r); from.next(r); r.bad = nil {
			if !yield(r) {
				return
			}
		}
		if len(r.bad) > 0 {
			yield(r)
		}
	}
}

func (s source) rows(in *text, r *record) rows {
	if _, err := in.Peek(1); err == io.EOF {
		r.fail("", emptyFile())
		return nothing{}
	}
	if s.lines() {
		return newJSONRows(in)
	}
	return newCSVRows(in, r)
}

// emptyFile is the flaw of a file without even a header. Nothing to report has a
// header; nothing at all is an export that was broken off.
func emptyFile() *flaw { return flawf("empty-file", "the file is empty") }

// nothing is the rows of a file that has none.
type nothing struct{}

func (nothing) next(*record) bool { return false }

// readTable returns the rows of a file in memory.
func readTable[T any](s source, t table, decode func(*record) T) ([]Row[T], []Problem) {
	var list []Row[T]
	var bad []Problem
	if s.name == "" {
		return nil, nil
	}
	for r := range s.records(t, new(atomic.Int64)) {
		v, ok := decoded(r, decode)
		if !ok {
			bad = append(bad, r.bad...)
			continue
		}
		list = append(list, Row[T]{s.name, r.line, v})
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
