package workflow

import (
	"lastgood/policy/corroborate"
	"lastgood/policy/limit"
	"lastgood/policy/metrology"
)

// Second is what a second instrument says of the lot under the same limit.
type Second struct {
	Instrument string                `json:"instrument"`
	Verdict    limit.Verdict         `json:"verdict"` // by its own readings and bracket
	Readings   int                   `json:"readings"`
	Measure    limit.Measure         `json:"measure"`
	Agreement  corroborate.Agreement `json:"agreement"`
	Refused    string                `json:"refused"` // why it is not counted
}

// corroborated lets the second instruments speak for an item that was judged
// by the one in doubt.
func (e *evidence) corroborated(a *Assessment, it item, l limit.Limit, errs windowed) error {
	a.OwnVerdict = a.Result.Verdict
	if l.Monitoring == limit.OnException { // what a second one did not report shows nothing either
		return nil
	}
	var list []corroborate.Testimony
	var own []limit.Path
	for _, s := range e.seconds {
		theirs := s.itemFor(e, it, it.limit)
		if theirs.count() == 0 {
			continue
		}
		if own == nil {
			var err error
			if own, err = l.Paths(it.series(l), errs); err != nil {
				return err
			}
		}
		word, err := e.testimony(s, theirs, l, own)
		if err != nil {
			return err
		}
		a.Seconds = append(a.Seconds, word)
		list = append(list, corroborate.Testimony{Instrument: word.Instrument, Refused: word.Refused, Verdict: word.Verdict,
			Readings: word.Readings, Agreement: word.Agreement})
	}
	settled := corroborate.Settle(a.Result, list)
	a.Result.Verdict, a.ClearedBy = settled.Verdict, settled.By
	if settled.Verdict != a.OwnVerdict { // what was said of the one in doubt alone no longer tells of the lot
		a.Result.ProbabilityMissed, a.Result.Probabilities = nil, nil
		alone(&a.Result)
	}
	a.Result.Reasons = append(a.Result.Reasons, settled.Reasons...)
	return nil
}

// testimony judges a second instrument's readings with its own bracket, and
// compares them with those of the one in doubt.
func (e *evidence) testimony(s secondInstrument, theirs item, l limit.Limit, own []limit.Path) (Second, error) {
	word := Second{Instrument: s.in.Code, Verdict: limit.Unknown, Readings: theirs.count()}
	witness, why := e.witness(s, theirs, l)
	if witness == nil {
		word.Refused = why
		return word, nil
	}
	record := theirs.series(l)
	r, err := l.Evaluate(record, witness, limit.Onset{})
	if err != nil {
		return word, err
	}
	paths, err := l.Paths(record, witness)
	if err != nil {
		return word, err
	}
	word.Verdict, word.Measure = r.Verdict, r.Measure
	within := e.policy.Corroboration.Within.Microseconds()
	if from, until := theirs.extent(); e.clock.bound(from, until) > 0 {
		within = -1 // nobody knows which readings were taken together
	}
	word.Agreement = corroborate.Agree(own, paths, l.Criterion.Scale(), within)
	return word, nil
}

// witness says whether the second instrument was good before and after its
// readings, by checks that do not hang on the suspect's references.
func (e *evidence) witness(s secondInstrument, theirs item, l limit.Limit) (*metrology.Witness, string) {
	from, until := theirs.extent()
	if s.clock.bound(from, until) > 0 {
		return nil, "nobody knows by how much its clock was off"
	}
	lo, hi := l.Criterion.Temperatures()[0], l.Criterion.Temperatures()[0]
	for _, t := range l.Criterion.Temperatures() {
		lo, hi = min(lo, t), max(hi, t)
	}
	return metrology.Vouch(s.facts, e.references(), from, until, lo, hi)
}

// overAt is when the step that an item tells of was over [µs]: after its last
// reading, and after the stay that it should have covered.
func (e *evidence) overAt(it item) int64 {
	_, last := it.extent()
	if it.via != "reading" {
		last = max(last, it.end)
	}
	if it.count() == 0 {
		_, made := e.madeWhen(it.lot)
		last = max(last, made)
	}
	return last + e.clock.bound(last, last)
}

// extent is when the item's readings begin and end [µs].
func (it item) extent() (from, until int64) {
	for i, p := range it.parts {
		if p.from == p.to {
			continue
		}
		a, b := p.at[p.from], p.at[p.to-1]
		if i == 0 || from == 0 {
			from, until = a, b
		}
		from, until = min(from, a), max(until, b)
	}
	return from, until
}
