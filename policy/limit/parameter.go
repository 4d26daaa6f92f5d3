package limit

import (
	"slices"
	"strconv"
	"strings"
	"time"

	"lastgood/policy/unit"
)

// Form is how a parameter is written.
type Form string

// The forms of parameters.
const (
	Temperature Form = "temperature" // "165 F"
	Difference  Form = "difference"  // "10 K"
	Duration    Form = "duration"    // "15s", "168h"
	Number      Form = "number"      // 3.0
	Rows        Form = "rows"        // [[57 C, 21 C, 2h], …]
	Word        Form = "word"        // square_root
)

// Parameter is one thing that a kind of limit is written with. A dot in its
// name is a mapping in the policy: allow.total is allow: {total: …}.
type Parameter struct {
	Name         string
	Form         Form
	Required     bool
	Temperatures int      // Rows: how many temperatures lead each row, 1 or 2
	Words        []string // Word: what may be written
	Any          bool     // Number: it may be 0 or negative
}

// Row is one row of a table: its temperatures, then a time.
type Row struct {
	Temperatures []unit.Temperature
	Time         time.Duration
}

// ParameterError says what is wrong with one parameter.
type ParameterError struct {
	Parameter string
	Rule      string // stable: missing-parameter, out-of-range, …
	Detail    string // a sentence
}

// Error returns the parameter's name and the sentence.
func (e *ParameterError) Error() string { return e.Parameter + ": " + e.Detail }

// check refuses what no kind can use, whatever it means.
func (p Parameter) check(v Values) error {
	given, sense := true, true
	switch p.Form {
	case Temperature:
		var t unit.Temperature
		if t, given = v.Temperature[p.Name]; given {
			sense = t.Celsius() >= absoluteZero
		}
	case Difference:
		var d unit.Diff
		if d, given = v.Difference[p.Name]; given {
			sense = d.Value > 0
		}
	case Duration:
		var d time.Duration
		if d, given = v.Duration[p.Name]; given {
			sense = d > 0 && d%time.Microsecond == 0
		}
	case Number:
		var n float64
		if n, given = v.Number[p.Name]; given {
			sense = n <= maxNumber && (n > 0 || p.Any && n >= -maxNumber)
		}
	case Rows:
		return p.checkRows(v.Rows[p.Name])
	case Word:
		var w string
		if w, given = v.Word[p.Name]; given {
			sense = slices.Contains(p.Words, w)
		}
	}
	switch {
	case !given && p.Required:
		return p.missing()
	case !sense && p.Form == Word:
		return &ParameterError{p.Name, "unknown-word", "it may be " + strings.Join(p.Words, ", ")}
	case !sense && p.Any:
		return &ParameterError{p.Name, "out-of-range", "the number must be from -1000000000 to 1000000000"}
	case !sense:
		return &ParameterError{p.Name, "out-of-range", needs[p.Form]}
	}
	return nil
}

func (p Parameter) missing() error {
	return &ParameterError{p.Name, "missing-parameter", "the limit needs " + p.Name + ", a " + string(p.Form)}
}

// checkRows refuses rows that no kind can use. A row may have no time at all:
// whether that means something is for the kind.
func (p Parameter) checkRows(rows []Row) error {
	if len(rows) == 0 && p.Required {
		return p.missing()
	}
	if len(rows) > maxRows {
		return &ParameterError{p.Name, "out-of-range", "there are at most " + strconv.Itoa(maxRows) + " rows"}
	}
	for i, r := range rows {
		at := rowAt(p.Name, i)
		if len(r.Temperatures) != p.Temperatures {
			return &ParameterError{at, "wrong-type", "a row has as many temperatures as the others, then a time"}
		}
		for _, t := range r.Temperatures {
			if t.Celsius() < absoluteZero {
				return &ParameterError{at, "out-of-range", needs[Temperature]}
			}
		}
		if r.Time < 0 || r.Time%time.Microsecond != 0 {
			return &ParameterError{at, "out-of-range", "the time must not be negative, in whole microseconds"}
		}
	}
	return nil
}

// rowAt is the name of one row of a parameter, counted from 0 as in a path.
func rowAt(name string, i int) string { return name + "[" + strconv.Itoa(i) + "]" }

const (
	maxNumber = 1e9
	maxRows   = 1000 // published tables have fewer than a hundred
)

// absoluteZero is the lowest temperature there is [°C].
const absoluteZero unit.Celsius = -273.15

var needs = map[Form]string{
	Temperature: "nothing is colder than -273.15 C",
	Difference:  "the difference must be more than 0",
	Duration:    "the duration must be more than 0, in whole microseconds",
	Number:      "the number must be more than 0 and at most 1000000000",
}
