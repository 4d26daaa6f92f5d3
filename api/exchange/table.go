package exchange

import (
	"slices"
	"strings"
)

// table is a kind of data file: its name without endings and its columns.
type table struct {
	name     string
	required []string // in every row; a CSV without such a column is refused at its header
	optional []string // empty means unknown
}

// columns returns all columns, the required ones first.
func (t table) columns() []string { return slices.Concat(t.required, t.optional) }

// allowed returns the columns for a sentence.
func (t table) allowed() string { return strings.Join(t.columns(), ", ") }

// unknownColumn is the flaw of a column or member that the table has not.
func (t table) unknownColumn(name string) *flaw {
	return flawf("unknown-column", "%s has no column %s; its columns are %s", t.name, quote(name), t.allowed())
}
