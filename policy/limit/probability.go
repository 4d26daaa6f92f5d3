package limit

import "math"

// The models of when an error began. Nobody knows which is true: a model weights
// the probability and the order of work, and never a verdict.
const (
	Sudden  = "sudden"  // it jumped at one moment, any of the window as likely as another
	Gradual = "gradual" // it grew all through the window
	Delayed = "delayed" // it began to grow at one moment, any as likely as another
	Event   = "event"   // it jumped at a moment that somebody knows
)

// Onset is the window in which the error began: after After and not later than
// FailedAt [µs].
type Onset struct {
	After, FailedAt int64
	Event           int64  // when it began, where somebody knows; 0: nobody does [µs]
	Model           string // the one whose probability is shown first; "": Sudden
}

// Likelihood is the probability of a miss under one model; nil: unknown.
type Likelihood struct {
	Model  string
	Missed *float64
}

// paths are the error's paths through a lot's readings, from e₀ as left at the
// last good check to e₁ as found at the failed one.
type paths interface {
	// along is the chance of a miss if the error of a reading at a time is
	// e₀ + g·(e₁ − e₀).
	along(g func(at int64) float64) float64
	// sudden is that chance, averaged over the moments of a jump.
	sudden() float64
	// ends are the times of the first and the last reading.
	ends() (first, last int64)
}

// likelihoods returns the probability that the limit was missed under every
// model.
//
//	P = E[ Q(h(path)/u) ]    over the moments of onset that the model allows
//
//	sudden   E = e₁ from a moment on, e₀ before
//	gradual  E = e₀ + f·(e₁ − e₀), f = (t − After)/(FailedAt − After)
//	delayed  E = e₀ + g·(e₁ − e₀), g = (t − τ)/(FailedAt − τ) from a moment τ on
//	event    as sudden, at the moment known
//
//	h  headroom of the series with that path taken out                   [K]
//	u  standard uncertainty of the one error common to all readings, the largest
//	   over the lot's                                              [K, k = 1]
//	Q  upper tail of the standard normal distribution, or of Student's t with the
//	   fewest degrees of freedom over the lot's readings, cut down to a whole number
//
// Where the limit is not kept on one side of a headroom only (cooling), Q(h/u) is
// the probability of all the shifts of the whole record with which it does not
// hold.
//
// Range:    nil where the window has no length or no beginning, for event where
// nobody knows the moment or it lies outside the window.
// Assumes:  an error that does not heal; the uncertainty is one shift of the
// whole record; a record that does not decide counts as missed.
// Source:   design notes on errors, §4 and §5; JCGM 106:2012, 7.4 for one known
// error, by way of those notes.
// Departs:  readings that are not in doubt keep their value but share the common
// error: that never makes the probability of a limit met as recorded smaller.
// Where both constant errors have one chance it is taken for all between them,
// which a growth limit above the optimum need not obey. Averages over moments: onsets.go.
// Checked:  drift_interval.csv, missed_limit_probability, columns step, linear and
// delayed; correlation_trap; by enumeration, probability_test.go.
func (b *bracket) likelihoods(c Criterion, o Onset) []Likelihood {
	out := []Likelihood{{Model: Sudden}, {Model: Gradual}, {Model: Delayed}, {Model: Event}}
	known := o.Event != 0 && o.Event > o.After && o.Event <= o.FailedAt
	window := o.After != math.MinInt64 && o.FailedAt > o.After
	if !known && !window {
		return out
	}
	_, several := c.(pieces)
	monotone := !several && b.ordered()
	var p paths
	if e, ok := c.(every); ok {
		p = b.front(e, o)
	} else {
		p = &whole{b, c, o, monotone}
	}
	always, same := 0.0, false
	if monotone {
		always, same = settled(p)
	}
	put := func(i int, chance func() float64) {
		v := always
		if !same {
			v = min(max(chance(), 0), 1)
		}
		out[i].Missed = &v
	}
	if window {
		put(0, p.sudden)
		put(1, func() float64 { return p.along(o.grown) })
		put(2, func() float64 { return delayed(p, o) })
	}
	if known {
		put(3, func() float64 { return p.along(o.jumped) })
	}
	return out
}

// headline is the probability under the model that the policy chose.
func (o Onset) headline(all []Likelihood) *float64 {
	for _, l := range all {
		if l.Model == o.Model || o.Model == "" && l.Model == Sudden {
			return l.Missed
		}
	}
	return nil
}

// grown is the part of the error that was there at a time, under Gradual.
func (o Onset) grown(at int64) float64 {
	return share(float64(at)-float64(o.After), float64(o.FailedAt)-float64(o.After))
}

// jumped is the part of the error that was there at a time, under Event.
func (o Onset) jumped(at int64) float64 {
	if at >= o.Event {
		return 1
	}
	return 0
}

// share is a/b within 0 and 1.
func share(a, b float64) float64 {
	switch {
	case a <= 0:
		return 0
	case a >= b:
		return 1
	}
	return a / b
}

// certain is a difference of chances that nobody can see. Most lots have margin
// enough, or none, on every path; then two evaluations settle it.
const certain = 1e-12

// settled says whether the two constant paths have one chance, and so every path
// between them.
func settled(p paths) (chance float64, ok bool) {
	old := p.along(func(int64) float64 { return 0 })
	found := p.along(func(int64) float64 { return 1 })
	return max(old, found), math.Abs(old-found) < certain
}

// ordered says whether one of the two errors is the more harmful for every
// reading, so that every path lies between the two constant ones.
func (b *bracket) ordered() bool {
	hotter, colder := false, false
	for i := range b.at {
		hotter = hotter || b.at[i][found] > b.at[i][old]
		colder = colder || b.at[i][found] < b.at[i][old]
	}
	return !hotter || !colder
}
