package sampling

import (
	"errors"
	"fmt"
	"math"
)

// Result is one sample's result as the laboratory reported it.
type Result struct {
	Sample string // the sample's own number
	Value  float64
	Unit   string // as the plan's
	Bound  Bound
	Void   *Void // nil: it counts
}

// Bound says that the value is a bound of the result and not the result.
type Bound string

// The bounds a laboratory reports.
const (
	Exactly  Bound = ""
	LessThan Bound = "<" // below the method's limit of quantification
	MoreThan Bound = ">" // too many to count
)

// Void is why a result does not count. It needs a reason and somebody who signed
// for it, or a bad result could be made to go away.
type Void struct{ Reason, SignedBy string }

func (r Result) verify(unit string) error {
	switch {
	case r.Sample == "":
		return errors.New("a result needs the number of its sample")
	case math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
		return errors.New("the value has to be a number")
	case r.Unit != unit:
		return fmt.Errorf("it is in %q and the plan in %q", r.Unit, unit)
	case r.Bound != Exactly && r.Bound != LessThan && r.Bound != MoreThan:
		return fmt.Errorf("a result is less than, more than or exactly a value, not %q", r.Bound)
	case r.Void != nil && (r.Void.Reason == "" || r.Void.SignedBy == ""):
		return errors.New("a voided result needs a reason and a signature")
	}
	return nil
}

// class is where a result lies.
type class int

const (
	acceptable class = iota // not above m
	marginal                // above m; in three classes not above M
	beyond                  // above M
)

// classes returns the best and the worst class that r can be in.
func (p Plan) classes(r Result) (best, worst class) {
	at := p.class(r.Value)
	switch r.Bound {
	case LessThan:
		// "<v" with v just above m may still be above m: the class of v itself.
		return acceptable, at
	case MoreThan:
		top := p.class(math.Inf(1))
		return p.class(math.Nextafter(r.Value, math.Inf(1))), top
	}
	return at, at
}

// class is where an exact value lies. At a limit it is not above it.
func (p Plan) class(v float64) class {
	switch {
	case p.Reject != nil && v > *p.Reject:
		return beyond
	case v > *p.Limit:
		return marginal
	}
	return acceptable
}
