package document

import (
	"slices"
	"time"

	"lastgood/policy/clock"
)

// Starts says what starts the clock of an authority.
type Starts string

// What starts a clock.
const (
	AtDetermination Starts = "determination" // signed by everyone: never the failed check
	AtDistribution  Starts = "distribution"  // product in doubt known to have left
	AtRequest       Starts = "request"       // the authority asks
)

// Authority is somebody who may have to be told, and how soon.
type Authority struct {
	ID       string // as a policy document writes it
	Name     string
	Rule     clock.Rule
	Starts   Starts
	Row      string // of the published obligations
	Citation string
	Asks     string // what it asks for, in our words
	Read     string // whether somebody opened the source: stored-copy or memory
}

// Immediately says whether it is to be told at once.
func (a Authority) Immediately() bool { return a.Rule.Count == 0 }

// Asked says whether it is answered when it asks, and needs no determination.
func (a Authority) Asked() bool { return a.Starts == AtRequest }

// EscalateAfter is when people are told again of a notice that is to be given at
// once (design notes on the procedure, §11). After the last of them it is late.
var EscalateAfter = []time.Duration{0, 30 * time.Minute, 60 * time.Minute}

var hours24 = clock.Rule{Count: 24, Unit: clock.Hours}

// authorities are the rows, in the order in which people go through them. That a
// report which is asked for promptly is given within 24 h is a number of the
// design notes on the procedure, §11, and not of the rule.
var authorities = []Authority{
	{"fsis", "FSIS District Office", hours24, AtDetermination, "FS-16", "9 CFR 418.2",
		"told within 24 h of learning or determining that adulterated or misbranded product is in commerce: type, amount, origin, destination", "stored-copy"},
	{"fda_rf", "FDA Reportable Food Registry", hours24, AtDetermination, "RF-03", "21 USC 350f(d)(1)",
		"a report through the portal within 24 h of determining that food is reportable", "stored-copy (24 h seen in secondary text; detail memory)"},
	{"canada", "Canadian Food Inspection Agency", clock.Rule{Unit: clock.Hours}, AtDetermination, "CA-02", "SFCR s. 82(2)",
		"told immediately of a risk of injury to health", "memory; CFIA page says notify without delay"},
	{"eu", "competent authority in the European Union", clock.Rule{Unit: clock.Hours}, AtDetermination, "EU-08", "Reg. 178/2002 art. 19(1)",
		"told immediately when food that has left is believed not to be in compliance; its withdrawal begins at once", "stored-copy"},
	{"fda_lacf", "FDA, low-acid canned foods", hours24, AtDistribution, "LA-14", "21 CFR 108.35(d)",
		"told promptly of a process deviation of potential health significance where any of the lot entered distribution; 24 h is common practice", "memory"},
	{"records_request", "authority that asks for traceability records", hours24, AtRequest, "TR-05", "21 CFR 1.1455(c)",
		"given the records within 24 h of the request, or another time that it agreed to (21 CFR 117.315 asks the same of records kept elsewhere)",
		"stored-copy (24 h in law-firm summary); spreadsheet from memory"},
}

// Authorities returns all of them.
func Authorities() []Authority { return slices.Clone(authorities) }

// AuthorityOf returns one by its word.
func AuthorityOf(id string) (Authority, bool) {
	i := slices.IndexFunc(authorities, func(a Authority) bool { return a.ID == id })
	if i < 0 {
		return Authority{}, false
	}
	return authorities[i], true
}

// Concern returns the authorities that have to be assessed when product in doubt
// has left: those that the policy names, or all of them where it names none.
func (p *Policy) Concern() []Authority {
	var out []Authority
	for _, a := range authorities {
		if !a.Asked() && (p.authorities == nil || slices.Contains(p.authorities, a.ID)) {
			out = append(out, a)
		}
	}
	return out
}

// DefaultDetermination is how long product in doubt may be known to have left
// before it is determined who must be told (a judgement: no clock of an authority
// is longer).
const DefaultDetermination = 24 * time.Hour

// What is allowed of it (a judgement).
const (
	leastDetermination = time.Hour
	mostDetermination  = 7 * 24 * time.Hour
)

// readAuthorities reads authorities: [fsis, fda_rf], those that concern the
// site, and determination_within.
func (r *reader) readAuthorities(top map[string]field, p *Policy) {
	p.DeterminationWithin = DefaultDetermination
	r.within(top, "determination_within", leastDetermination, mostDetermination, &p.DeterminationWithin)
	f, ok := top["authorities"]
	if !ok {
		return
	}
	var words []string
	for _, a := range authorities {
		words = append(words, a.ID)
	}
	p.authorities = []string{}
	for _, item := range r.items(f) {
		w, ok := r.word(item, words...)
		switch {
		case !ok:
		case slices.Contains(p.authorities, w):
			r.problem(item.value, item.path, "duplicate-word", "the authority "+w+" is there twice")
		default:
			p.authorities = append(p.authorities, w)
		}
	}
}
