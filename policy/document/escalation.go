package document

import "time"

// Escalation says how long what waits for a person may wait before others are
// told.
type Escalation struct {
	HoldsAfter time.Duration // a hold that nobody acknowledged in full, since it was placed
	AgainEvery time.Duration // until somebody does
}

// DefaultEscalation stands where a policy says nothing: 15 minutes, by the design
// notes on the procedure, T03; then every half hour (a judgement).
var DefaultEscalation = Escalation{HoldsAfter: 15 * time.Minute, AgainEvery: 30 * time.Minute}

// What is allowed of them (a judgement): less than a minute nobody can keep, and
// what waits longer than a day is forgotten.
const (
	leastEscalation = time.Minute
	mostEscalation  = 24 * time.Hour
	mostGrace       = 31 * 24 * time.Hour
)

// escalation reads escalation and overdue_grace: how long after the day on which a
// check was due the instrument may still be read.
func (r *reader) escalation(top map[string]field, p *Policy) {
	p.Escalation = DefaultEscalation
	if f, ok := top["escalation"]; ok {
		m := r.known(r.fields(f.value, f.path), "escalation", []string{"holds_after", "again_every"})
		r.within(m, "holds_after", leastEscalation, mostEscalation, &p.Escalation.HoldsAfter)
		r.within(m, "again_every", leastEscalation, mostEscalation, &p.Escalation.AgainEvery)
	}
	r.within(top, "overdue_grace", 0, mostGrace, &p.OverdueGrace)
}

// within reads a duration between two bounds, if it is there.
func (r *reader) within(m map[string]field, key string, least, most time.Duration, into *time.Duration) {
	f, ok := m[key]
	if !ok {
		return
	}
	d, ok := r.duration(f)
	switch {
	case !ok:
	case d < least || d > most:
		r.problem(f.value, f.path, "out-of-range", key+" is from "+least.String()+" to "+most.String())
	default:
		*into = d
	}
}
