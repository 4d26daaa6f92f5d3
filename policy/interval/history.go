package interval

import (
	"math"

	"lastgood/policy/metrology"
)

// day in µs.
const day = 86_400e6

// span is one interval between two checks, of which the first left the
// instrument fit for use.
type span struct {
	days    float64
	outside bool // the check at its end did not find it within its tolerance
}

// Observed is the history in numbers.
type Observed struct {
	Spans   int     // intervals that began with a good check, or with going into service
	Within  int     // those at whose end the instrument was within its tolerance
	AtLimit int     // passes so near the tolerance that the display cannot tell; not Within
	Days    float64 // in service under observation
	// Overrun is how many days after it was due the latest check was done.
	Overrun float64
}

// spans cuts the history into intervals. One that began with an instrument that
// was not fit for use says nothing about going out of tolerance.
func (h *History) spans() ([]span, Observed) {
	var out []span
	var o Observed
	good, since := h.InServiceFrom != 0, h.InServiceFrom
	for _, c := range h.Checks {
		if days := float64(c.At-since) / day; good && days > 0 {
			s := span{days: days, outside: c.Found != metrology.Pass}
			if !s.outside && h.atLimit(c) {
				s.outside = true
				o.AtLimit++
			}
			out = append(out, s)
			o.Days += days
			if !s.outside {
				o.Within++
			}
		}
		if c.Due != 0 {
			o.Overrun = max(o.Overrun, float64(c.At-c.Due)/day)
		}
		good, since = c.Left == metrology.Pass, c.At
	}
	o.Spans = len(out)
	return out, o
}

// atLimit reports whether the error is within half a step of the display of the
// tolerance: it may as well be outside.
func (h *History) atLimit(c Check) bool {
	return c.FoundError != nil && h.Resolution > 0 &&
		math.Abs(float64(*c.FoundError))+float64(h.Resolution)/2 > float64(h.Tolerance)*(1+1e-9)
}

// steps are the changes of the error from one check to the next.
func (h *History) steps() []Step {
	var out []Step
	for i := 1; i < len(h.Checks); i++ {
		before, now := h.Checks[i-1].left(), h.Checks[i].FoundError
		days := float64(h.Checks[i].At-h.Checks[i-1].At) / day
		if before != nil && now != nil && days > 0 {
			out = append(out, Step{Days: days, Change: *now - *before})
		}
	}
	return out
}
