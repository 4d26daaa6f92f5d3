package exchange

import (
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
)

// csvRows cuts RFC 4180 text with a header.
type csvRows struct {
	r     *csv.Reader
	limit *recordLimit
	at    []int // column of the table, by field of the file
	last  int   // line of the last record
}

func newCSVRows(in *text, r *record) rows {
	c := &csvRows{r: csv.NewReader(in.Reader), limit: in.limit}
	c.r.ReuseRecord = true
	c.r.FieldsPerRecord = -1 // counted here, where the line is known and the rest can go on
	if !c.header(r) {
		return nothing{}
	}
	return c
}

// header maps the fields of the file to columns of the table. A wrong header is
// the end of the file: guessing would make a problem of every row.
func (c *csvRows) header(r *record) bool {
	names, err := c.r.Read()
	if err == io.EOF {
		r.fail("", emptyFile())
		return false
	}
	if err != nil {
		c.stop(r, err)
		return false
	}
	r.line, _ = c.r.FieldPos(0)
	c.last = r.line
	if len(names) == 1 && strings.ContainsAny(names[0], ";\t") {
		r.fail("", flawf("not-comma-separated", "separate the columns with commas"))
		return false
	}
	for _, name := range names {
		if f := wellFormed(name); f != nil {
			r.fail("", f)
			return false
		}
	}
	for _, name := range names {
		c.at = append(c.at, c.column(r, name))
	}
	for i, name := range r.table.required {
		if !slices.Contains(c.at, i) {
			r.fail(name, flawf("missing-column", "%s needs a column %s", r.table.name, name))
		}
	}
	return len(r.bad) == 0
}

// column returns the column of the table that a field of the header names.
func (c *csvRows) column(r *record, name string) int {
	i := r.column(name)
	switch {
	case i < 0:
		r.fail(name, r.table.unknownColumn(name))
	case slices.Contains(c.at, i):
		r.fail(name, flawf("duplicate-column", "there are two columns %s", name))
	}
	return i
}

func (c *csvRows) next(r *record) bool {
	c.limit.begin()
	fields, err := c.r.Read()
	if err != nil {
		c.stop(r, err)
		return false
	}
	r.line, _ = c.r.FieldPos(0)
	c.last = r.line
	if len(fields) != len(c.at) {
		r.fail("", flawf("wrong-number-of-fields", "this row has %d fields, the header has %d", len(fields), len(c.at)))
		return true
	}
	for i, s := range fields {
		r.value[c.at[i]] = s
		if f := wellFormed(s); f != nil {
			r.fail(r.columns[c.at[i]], f)
		}
	}
	return true
}

// stop says why the file ended, if it ended before its time.
func (c *csvRows) stop(r *record, err error) {
	var parse *csv.ParseError
	switch {
	case err == io.EOF:
	case errors.As(err, &parse):
		r.line = parse.StartLine
		r.fail("", flawf("bad-quoting", "the quoting of this row is broken at line %d, column %d (a quote inside a field is written twice, in a quoted field); the rest of the file was not read", parse.Line, parse.Column))
	default:
		r.line = c.last + 1
		r.fail("", damaged(err))
	}
}
