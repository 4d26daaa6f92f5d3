// Package fault is the one error type that crosses package borders: what sort
// of trouble it is, a sentence for the person, and a cause for us. It imports
// nothing of ours.
package fault

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
)

// Kind is what sort of trouble an error is, and so who can mend it. A Kind is
// itself an error, so that errors.Is(err, fault.Refused) works.
type Kind string

// The kinds, and who mends each.
const (
	Invalid         Kind = "invalid"         // contradicts itself or a stated range; the caller
	Unauthenticated Kind = "unauthenticated" // nobody known; the caller
	Forbidden       Kind = "forbidden"       // known, but lacks role or competence; a supervisor
	NotFound        Kind = "not found"       // no such thing, or not yours to see; the caller
	Stale           Kind = "stale"           // someone moved it since you looked; reload
	Conflict        Kind = "conflict"        // clashes with something that exists; the caller
	Refused         Kind = "refused"         // the procedure does not allow it now; do what is missing
	Busy            Kind = "busy"            // try later
	Internal        Kind = "internal"        // all else; us
)

// Error makes a Kind usable with errors.Is.
func (k Kind) Error() string { return string(k) }

// Error is one fault.
type Error struct {
	Kind   Kind
	Rule   string // stable and documented: "unknown-instrument"
	Detail string // one sentence for the person, in the trade's words
	Field  string // the input at fault, if it is one
	Err    error  // cause; logged, never sent
}

// Error returns the sentence for the person.
func (e *Error) Error() string {
	if e.Field != "" {
		return e.Field + ": " + e.Detail
	}
	return e.Detail
}

// Unwrap yields the cause and the kind.
func (e *Error) Unwrap() []error {
	if e.Err == nil {
		return []error{e.Kind}
	}
	return []error{e.Err, e.Kind}
}

// New returns a fault of kind k under a rule, with a formatted sentence.
func New(k Kind, rule, format string, args ...any) *Error {
	return &Error{Kind: k, Rule: rule, Detail: fmt.Sprintf(format, args...)}
}

// In returns e with the input at fault named.
func (e *Error) In(field string) *Error {
	c := *e
	c.Field = field
	return &c
}

// KindOf returns the kind of err; Internal for anything foreign.
func KindOf(err error) Kind {
	var e *Error
	if errors.As(err, &e) {
		return e.Kind
	}
	return Internal
}

// Row is what is wrong with one row of many.
type Row struct {
	Index int // in the slice that the command was given
	Part  int // which point of the check, which line of the certificate; 0 if the whole
	*Error
}

// Rows is everything that is wrong with many rows. A command that returns it has
// written nothing.
type Rows []Row

// Error names the first row and counts the rest.
func (r Rows) Error() string {
	return fmt.Sprintf("row %d: %v (%d in all)", r[0].Index+1, r[0].Error, len(r))
}

// Add notes what is wrong with row i.
func (r *Rows) Add(i int, e *Error) { *r = append(*r, Row{i, 0, e}) }

// AddPart notes what is wrong with one part of row i.
func (r *Rows) AddPart(i, part int, e *Error) { *r = append(*r, Row{i, part, e}) }

// Err returns r as an error, nil if nothing is wrong.
func (r Rows) Err() error {
	if len(r) == 0 {
		return nil
	}
	return r
}

// Both returns what two looks at the same rows found, in order of row. An error
// that is no Rows comes first and alone.
func Both(a, b error) error {
	var x, y Rows
	switch {
	case a == nil || b == nil:
		return cmp.Or(a, b)
	case !errors.As(a, &x):
		return a
	case !errors.As(b, &y):
		return b
	}
	all := append(slices.Clone(x), y...)
	slices.SortStableFunc(all, func(a, b Row) int { return cmp.Compare(a.Index, b.Index) })
	return all
}
