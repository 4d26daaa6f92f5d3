package exchange

import (
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"lastgood/policy/unit"
)

// The getters below return the value of a column as a type. What is wrong they
// note in the record and return the zero value, so that a row is decoded to its
// end and everything wrong with it is told at once.

// column returns the position of a column, -1 if the table has none of that name.
func (r *record) column(name string) int { return slices.Index(r.columns, name) }

// raw returns the text of a column. An empty one that must not be is noted.
func (r *record) raw(column string) string {
	i := r.column(column)
	s := r.value[i]
	if s == "" && i < len(r.table.required) {
		r.require(column)
	}
	return s
}

// require notes that a column is empty that must not be.
func (r *record) require(column string) {
	r.fail(column, flawf("required", "%s must not be empty", column))
}

// parsed returns the value of a column through parse, nil if it is empty.
func parsed[T any](r *record, column string, parse func(string) (T, *flaw)) *T {
	s := r.raw(column)
	if s == "" {
		return nil
	}
	v, f := parse(s)
	if f != nil {
		r.fail(column, f)
		return nil
	}
	return &v
}

// orZero returns *p, the zero value for nil. For columns that are required: their
// row is dropped when they are empty.
func orZero[T any](p *T) (v T) {
	if p != nil {
		v = *p
	}
	return v
}

// code returns the name of something: an inventory number, a lot code, a person.
func (r *record) code(column string) string { return orZero(parsed(r, column, parseCode)) }

// note returns free text.
func (r *record) note(column string) string { return orZero(parsed(r, column, parseNote)) }

// at returns a time that may be unknown.
func (r *record) at(column string) *time.Time { return parsed(r, column, parseTime) }

// moment returns a time that must be known.
func (r *record) moment(column string) time.Time { return orZero(r.at(column)) }

// scale returns the unit of the row's temperatures.
func (r *record) scale() unit.Scale { return orZero(parsed(r, "unit", parseScale)) }

// temperature returns a point on the scale s.
func (r *record) temperature(column string, s unit.Scale) *unit.Micro {
	return parsed(r, column, func(v string) (unit.Micro, *flaw) { return parseTemperature(v, s) })
}

// difference returns a difference of temperatures.
func (r *record) difference(column string) *unit.Micro { return parsed(r, column, parseDegrees) }

// positive returns a difference that is above zero.
func (r *record) positive(column string) *unit.Micro {
	m := r.difference(column)
	if m != nil && *m <= 0 {
		r.fail(column, flawf("out-of-range", "%s must be above zero", column))
	}
	return m
}

// uncertainty returns a difference that is not below zero.
func (r *record) uncertainty(column string) *unit.Micro {
	m := r.difference(column)
	if m != nil && *m < 0 {
		r.fail(column, flawf("out-of-range", "%s must not be below zero", column))
	}
	return m
}

// flag returns true or false.
func (r *record) flag(column string) *bool { return parsed(r, column, parseFlag) }

// days returns a whole number of days, at least least.
func (r *record) days(column string, least int) *int {
	return parsed(r, column, func(s string) (int, *flaw) { return parseDays(s, least) })
}

// word returns a value that must be one of a list.
func word[T ~string](r *record, column string, allowed ...T) T {
	return orZero(parsed(r, column, func(s string) (T, *flaw) {
		if slices.Contains(allowed, T(s)) {
			return T(s), nil
		}
		list := make([]string, len(allowed))
		for i, a := range allowed {
			list[i] = string(a)
		}
		return "", flawf("unknown-word", "%s is not known here; write %s", quote(s), strings.Join(list, ", "))
	}))
}

// quantity returns an amount of product in the unit of the row.
func (r *record) quantity(column string) *unit.Quantity {
	amount, of := r.raw(column), r.code("quantity_unit")
	if amount == "" {
		return nil
	}
	if _, ok := plainDecimal(amount); ok && amount[0] == '-' {
		r.fail(column, flawf("negative-quantity", "the quantity %s is negative", quote(amount)))
		return nil
	}
	if r.value[r.column("quantity_unit")] == "" {
		r.fail("quantity_unit", flawf("quantity-without-unit", "the quantity %s has no unit: write kg, case, each or your own word", quote(amount)))
		return nil
	}
	q, err := unit.ParseQuantity(amount, of)
	if err != nil {
		r.fail(column, flawf("not-a-quantity", "%s is not a quantity: write digits with at most six decimals", quote(amount)))
		return nil
	}
	return &q
}

// inOrder notes that an interval ends before it begins.
func (r *record) inOrder(from, to *time.Time, column string) {
	if from != nil && to != nil && to.Before(*from) {
		r.fail(column, flawf("ends-before-it-begins", "%s is before the beginning, %s", column, from.Format(time.RFC3339Nano)))
	}
}

func parseScale(s string) (unit.Scale, *flaw) {
	u, err := unit.ParseScale(s)
	if err != nil {
		return 0, flawf("unknown-unit", "%s is no unit of temperature: write C, F or K (or CEL, FAH, KEL)", quote(s))
	}
	return u, nil
}

func parseFlag(s string) (bool, *flaw) {
	if s != "true" && s != "false" {
		return false, flawf("not-true-or-false", "%s is neither true nor false", quote(s))
	}
	return s == "true", nil
}

// mostDays is a hundred years: more is a slip of the finger.
const mostDays = 36_525

func parseDays(s string, least int) (int, *flaw) {
	n, err := strconv.Atoi(s)
	if err != nil {
		return 0, flawf("not-a-whole-number", "%s is not a whole number of days", quote(s))
	}
	if n < least || n > mostDays {
		return 0, flawf("out-of-range", "%d is not between %d and %d days", n, least, mostDays)
	}
	return n, nil
}

const (
	longestCode = 100
	longestNote = 4000
)

// parseCode reads the name of a thing. A blank at its end would make another
// thing of it that looks the same on every screen.
func parseCode(s string) (string, *flaw) {
	switch {
	case strings.TrimSpace(s) != s:
		return "", flawf("surrounding-space", "%s begins or ends with a blank", quote(s))
	case utf8.RuneCountInString(s) > longestCode:
		return "", flawf("too-long", "%s is longer than %d characters", quote(s), longestCode)
	case strings.ContainsFunc(s, unicode.IsControl):
		return "", flawf("control-character", "%s has a control character in it", quote(s))
	}
	return s, nil
}

// parseNote reads what a person wrote, which may take several lines.
func parseNote(s string) (string, *flaw) {
	if utf8.RuneCountInString(s) > longestNote {
		return "", flawf("too-long", "the text is longer than %d characters", longestNote)
	}
	if strings.ContainsFunc(s, func(c rune) bool { return unicode.IsControl(c) && !strings.ContainsRune("\t\r\n", c) }) {
		return "", flawf("control-character", "%s has a control character in it", quote(s))
	}
	return s, nil
}
