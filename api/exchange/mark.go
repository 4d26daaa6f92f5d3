package exchange

import (
	"errors"
	"strings"

	"lastgood/policy/gs1"
	"lastgood/workflow/fault"
)

// Lots, portions and pallets, consignees and locations may be named by GS1 keys,
// in any form: brackets, as scanned, as a link, as an EPC urn, or bare digits. A
// key names the same thing in all of them, so it is kept in one, with brackets.
// Nobody has to have one: a plant's own code stays as it is.

// Marked is what a code names.
type Marked int

// What codes name.
const (
	Product Marked = iota // a lot, a portion, a pallet
	Place                 // a location or a consignee
)

// Mark reads the name of product or of a place that came in otherwise than in a
// row: in an address, a question, a form. field is its place in the request.
func Mark(s string, of Marked, field string) (string, error) {
	if s == "" {
		return "", nil
	}
	m, f := parseMark(s, of)
	if f != nil {
		return "", fault.New(fault.Invalid, f.rule, "%s", f.detail).In(field)
	}
	return m, nil
}

// parseMark reads the name of product or of a place. What is plainly meant as a
// GS1 key and breaks a rule is refused, with the place and the rule.
func parseMark(s string, of Marked) (string, *flaw) {
	if strings.TrimSpace(s) != s {
		return parseCode(s)
	}
	m, err := gs1.Mark(s, of == Place)
	var broken *gs1.Error
	if errors.As(err, &broken) {
		return "", flawf("gs1-"+string(broken.Rule), "%s is meant as a GS1 key, and is none: %s", quote(s), broken.Error())
	}
	return parseCode(m)
}

// mark returns the name of product or of a place.
func (r *record) mark(column string, of Marked) string {
	return orZero(parsed(r, column, func(s string) (string, *flaw) { return parseMark(s, of) }))
}
