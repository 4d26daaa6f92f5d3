package rules

import (
	"strings"
	"time"
)

// Signer is one who signs for a lot.
type Signer struct {
	Role    string
	Meaning string // of the signature
	Rule    string
}

// Deadline is a time within which people do something about a lot, from when
// the rules first asked for it. Clocks that the law sets are not among them:
// they run from a signed determination.
type Deadline struct {
	Within time.Duration
	What   string
	Rule   string
}

// Outcome is what the rules propose for one lot under one limit, and why.
type Outcome struct {
	Level       int // 1 (record it) to 5 (critical)
	LevelRule   string
	LevelReason string

	Route       Route
	RouteRule   string
	RouteReason string
	Means       string // what that route means at this plant

	Signers   []Signer // in the order of signing
	Deadlines []Deadline
}

// Evaluate returns what the rules propose for f. It always proposes something:
// where no rule gives a level it is 4, where no rule gives a route the lot is
// held, and where a rule cannot be evaluated it is both.
func (r *Rules) Evaluate(f Facts) Outcome {
	a := newActivation(f.settled())
	for _, decide := range []func(*activation) error{r.level, r.route, r.sign, r.clock} {
		if err := decide(a); err != nil {
			return r.fallback(a, err)
		}
	}
	a.outcome.Means = r.means[a.outcome.Route]
	return a.outcome
}

// level gives the level: the first rule that matches, raised by each that
// raises, and never below what guard.go keeps.
func (r *Rules) level(a *activation) error {
	given := noRule
	for _, l := range r.levels {
		ok, err := l.matches(a)
		if err != nil {
			return err
		}
		if ok {
			given = l
			break
		}
	}
	n, reason := given.level, append([]string{given.reason}, a.facts.assumed()...)
	for _, l := range r.raises {
		if n == highest {
			break
		}
		ok, err := l.matches(a)
		if err != nil {
			return err
		}
		if ok {
			n = min(highest, n+l.level)
			reason = append(reason, l.reason)
		}
	}
	if least, why := floor(a.facts); n < least {
		reason = append(reason, "the rules give level "+digit(n)+", and "+why)
		n = least
	}
	o := &a.outcome
	o.Level, o.LevelRule, o.LevelReason = n, given.name, strings.Join(reason, "; ")
	return nil
}

func digit(n int) string { return string(rune('0' + n)) }

// route gives the route: the first rule that matches, unless it would release
// what may not be released.
func (r *Rules) route(a *activation) error {
	given := noRoute
	for _, l := range r.routes {
		ok, err := l.matches(a)
		if err != nil {
			return err
		}
		if ok {
			given = l
			break
		}
	}
	if given.route == ReleaseWithRecord && !releasable(a.facts) {
		given = refused(given)
	}
	o := &a.outcome
	o.Route, o.RouteRule, o.RouteReason = given.route, given.name, given.reason
	return nil
}

// sign gives the signers: each rule that matches, a role once.
func (r *Rules) sign(a *activation) error {
	o := &a.outcome
	for _, l := range r.signers {
		ok, err := l.matches(a)
		if err != nil {
			return err
		}
		if ok && !signs(o.Signers, l.role) {
			o.Signers = append(o.Signers, Signer{l.role, l.meaning, l.name})
		}
	}
	o.Signers = enough(o.Signers, o.Route)
	return nil
}

// clock gives the deadlines: each rule that matches.
func (r *Rules) clock(a *activation) error {
	for _, l := range r.deadlines {
		ok, err := l.matches(a)
		if err != nil {
			return err
		}
		if ok {
			a.outcome.Deadlines = append(a.outcome.Deadlines, Deadline{l.within, l.what, l.name})
		}
	}
	return nil
}
