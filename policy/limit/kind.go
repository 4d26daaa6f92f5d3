package limit

import (
	"fmt"
	"strings"
	"time"

	"lastgood/policy/unit"
)

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
	Rows        map[string][]Row
	Word        map[string]string
}

// kinds is the registry, in the order of the trade's list.
var kinds = []Kind{atLeastKind, atMostKind, holdKind, dwellTableKind, lethalityKind, logReductionKind, coolingKind, exposureKind, growthKind}

// KindNames are the names of the kinds there are, in the order of the registry.
func KindNames() []string {
	out := make([]string, len(kinds))
	for i, k := range kinds {
		out[i] = k.Name
	}
	return out
}

// Lookup returns the kind of that name, or an error that says which there are.
func Lookup(name string) (Kind, error) {
	for _, k := range kinds {
		if k.Name == name {
			return k, nil
		}
	}
	known := KindNames()
	n := len(known) - 1
	return Kind{}, fmt.Errorf("there is no kind %q: %s and %s are", name, strings.Join(known[:n], ", "), known[n])
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
