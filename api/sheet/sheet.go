// Package sheet writes tables for people and their spreadsheets: CSV as RFC 4180
// has it, and workbooks. Rows come one by one and are not kept.
//
// What came from outside may look like a formula. It is written so that no
// spreadsheet takes it for one: in a workbook every text is typed as text; in
// CSV, which knows no types, a quote mark goes before it.
package sheet

import (
	"iter"
	"strconv"
	"strings"
	"time"
)

// Table is one sheet. Names of columns are unique.
type Table struct {
	Name    string
	Columns []string
	// Rows are made anew for every reader, one cell a column; the row may be
	// overwritten by the next.
	Rows iter.Seq2[[]Cell, error]
}

// Cell is nil for empty, a string, bool, int, int64, float64 or Decimal.
type Cell any

// Decimal is a number as somebody wrote it, of any length.
type Decimal string

// Or is the cell of what may be missing.
func Or[T string | float64 | bool | int | int64 | Decimal](v *T) Cell {
	if v == nil {
		return nil
	}
	return *v
}

// Moment returns two cells: a time as it was where the plant is, with its
// offset, and in UTC so that the texts sort as the times do.
func Moment(t time.Time, zone *time.Location) (local, utc Cell) {
	return t.In(zone).Format(time.RFC3339Nano), t.UTC().Format("2006-01-02T15:04:05.000000Z")
}

// MomentOr is Moment of what may be missing.
func MomentOr(t *time.Time, zone *time.Location) (local, utc Cell) {
	if t == nil {
		return nil, nil
	}
	return Moment(*t, zone)
}

// formula says whether a spreadsheet might take a text for a formula: by its
// first character, or the first after what some of them skip.
func formula(s string) bool {
	return s != "" && strings.IndexByte("=+-@\t\r\n", s[0]) >= 0
}

// digits is how many significant digits a spreadsheet keeps.
const digits = 15

// exactly returns a decimal as the number that a spreadsheet keeps whole, false
// if it does not.
func (d Decimal) exactly() (float64, bool) {
	significant := strings.TrimLeft(strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, string(d)), "0")
	f, err := strconv.ParseFloat(string(d), 64)
	return f, err == nil && len(significant) <= digits && !strings.ContainsAny(string(d), "eExXnN_")
}
