package limit

import (
	"fmt"
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
)

// Parameter is one thing that a kind of limit is written with. A dot in its
// name is a mapping in the policy: allow.total is allow: {total: …}.
type Parameter struct {
	Name     string
	Form     Form
	Required bool
}

// Kind is a kind of limit: its name in a policy and what it is written with.
type Kind struct {
	Name       string
	Parameters []Parameter
	build      func(Values) (Criterion, error)
}

// Values are the parameters of one limit by name; what was not given is not
// there.
type Values struct {
	Temperature map[string]unit.Temperature
	Difference  map[string]unit.Diff
	Duration    map[string]time.Duration
	Number      map[string]float64
}

// ParameterError says what is wrong with one parameter.
type ParameterError struct {
	Parameter string
	Rule      string // stable: missing-parameter, out-of-range, …
	Detail    string // a sentence
}

// Error returns the parameter's name and the sentence.
func (e *ParameterError) Error() string { return e.Parameter + ": " + e.Detail }

// kinds is the registry, in the order of the trade's list.
var kinds = []Kind{atLeastKind, atMostKind, holdKind, lethalityKind}

// later are kinds that a policy may name and that are refused by name.
var later = []string{"dwell_table", "log_reduction", "cooling", "exposure", "growth"}

// Lookup returns the kind of that name, or an error that says which there are.
func Lookup(name string) (Kind, error) {
	known := make([]string, len(kinds))
	for i, k := range kinds {
		if k.Name == name {
			return k, nil
		}
		known[i] = k.Name
	}
	n := len(known) - 1
	there := strings.Join(known[:n], ", ") + " and " + known[n] + " are"
	for _, l := range later {
		if l == name {
			return Kind{}, fmt.Errorf("kind %s is not supported yet: %s", name, there)
		}
	}
	return Kind{}, fmt.Errorf("there is no kind %q: %s", name, there)
}

// New returns a limit of that name with the given parameters. Its error is a
// *ParameterError wherever one parameter is at fault.
func (k Kind) New(name string, v Values) (Limit, error) {
	for _, p := range k.Parameters {
		if err := p.check(v); err != nil {
			return Limit{}, err
		}
	}
	c, err := k.build(v)
	if err != nil {
		return Limit{}, err
	}
	return Limit{Name: name, Kind: k.Name, Criterion: c, Text: c.String()}, nil
}

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
			sense = n > 0 && n <= 1e9
		}
	}
	switch {
	case !given && p.Required:
		return &ParameterError{p.Name, "missing-parameter", "the limit needs " + p.Name + ", a " + string(p.Form)}
	case !sense:
		return &ParameterError{p.Name, "out-of-range", needs[p.Form]}
	}
	return nil
}

// absoluteZero is the lowest temperature there is [°C].
const absoluteZero unit.Celsius = -273.15

var needs = map[Form]string{
	Temperature: "nothing is colder than -273.15 C",
	Difference:  "the difference must be more than 0",
	Duration:    "the duration must be more than 0, in whole microseconds",
	Number:      "the number must be more than 0 and at most 1000000000",
}

// written returns a duration as it is written in a policy: "2h", not "2h0m0s".
func written(d time.Duration) string {
	s := d.String()
	if strings.HasSuffix(s, "m0s") {
		s = strings.TrimSuffix(s, "0s")
	}
	if strings.HasSuffix(s, "h0m") {
		s = strings.TrimSuffix(s, "0m")
	}
	return s
}
