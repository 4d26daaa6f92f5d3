package truth

import (
	"math"

	"lastgood/policy/limit"
)

// Share is how many of how many, and of how many thermometers: lots of one
// share an error, so they are not independent.
type Share struct{ Of, Hits, Thermometers int }

// Rate is the share itself; 0 of nothing.
func (s Share) Rate() float64 {
	if s.Of == 0 {
		return 0
	}
	return float64(s.Hits) / float64(s.Of)
}

// Error is the binomial standard error of a share whose true value is p,
// counted by thermometers.
func (s Share) Error(p float64) float64 {
	if s.Thermometers == 0 {
		return 0
	}
	return math.Sqrt(p * (1 - p) / float64(s.Thermometers))
}

func (s *Share) add(o Share) {
	s.Of, s.Hits, s.Thermometers = s.Of+o.Of, s.Hits+o.Hits, s.Thermometers+o.Thermometers
}

// count adds one thermometer's lots.
func (s *Share) count(lots []seen, of, hit func(seen) bool) {
	any := false
	for _, l := range lots {
		if !of(l) {
			continue
		}
		any = true
		s.Of++
		if hit(l) {
			s.Hits++
		}
	}
	if any {
		s.Thermometers++
	}
}

// edge is what next to nothing is, in standard uncertainties.
const edge = 0.05

// bins is how many equal parts the probability is told in.
const bins = 10

// Bin is one line of a reliability table: lots of which about the same was said.
type Bin struct {
	Lots   int
	Said   float64 // sum of the probabilities
	Missed int
}

// Score is how often the engine was right.
type Score struct {
	Cell Cell
	// FalseMet is, of the lots that truly missed, those called met; Near the
	// same of lots that missed by less than 2u; Edge of those that missed by next
	// to nothing while the error was the worst that it ever was, so that nothing
	// but the uncertainty stands between them and met; Deviations is FalseMet
	// counted by thermometer: one with any such lot.
	FalseMet, Near, Edge, Deviations Share
	FalseMissed                      Share // of the lots that truly met, those called missed
	Cleared                          Share // of the lots that truly met, those called met
	Oracle                           Share // the same, with the bracket known exactly
	Unknown                          Share
	Bins                             [bins]Bin
	Brier, Ideal                     float64 // sums of squares over the lots in Bins
}

// Add joins two scores.
func (s *Score) Add(o Score) {
	for _, p := range [][2]*Share{{&s.FalseMet, &o.FalseMet}, {&s.Near, &o.Near}, {&s.Edge, &o.Edge}, {&s.Deviations, &o.Deviations},
		{&s.FalseMissed, &o.FalseMissed}, {&s.Cleared, &o.Cleared}, {&s.Oracle, &o.Oracle}, {&s.Unknown, &o.Unknown}} {
		p[0].add(*p[1])
	}
	for i, b := range o.Bins {
		s.Bins[i].Lots, s.Bins[i].Said, s.Bins[i].Missed = s.Bins[i].Lots+b.Lots, s.Bins[i].Said+b.Said, s.Bins[i].Missed+b.Missed
	}
	s.Brier, s.Ideal = s.Brier+o.Brier, s.Ideal+o.Ideal
}

// Lots is how many lots have a probability.
func (s Score) Lots() (n int) {
	for _, b := range s.Bins {
		n += b.Lots
	}
	return n
}

// add counts one deviation.
func (s *Score) add(d deviation) {
	missed := func(l seen) bool { return l.missed }
	fine := func(l seen) bool { return !l.missed }
	met := func(l seen) bool { return l.verdict == limit.Met }
	s.FalseMet.count(d.lots, missed, met)
	s.Near.count(d.lots, func(l seen) bool { return l.missed && l.spare > -2*d.u }, met)
	s.Edge.count(d.lots, func(l seen) bool { return l.missed && l.atWorst && l.spare > -edge*d.u }, met)
	s.FalseMissed.count(d.lots, fine, func(l seen) bool { return l.verdict == limit.Missed })
	s.Cleared.count(d.lots, fine, met)
	s.Oracle.count(d.lots, fine, func(l seen) bool { return l.oracleMet })
	s.Unknown.count(d.lots, func(seen) bool { return true }, func(l seen) bool { return l.verdict == limit.Unknown })
	s.countDeviation(d, missed, met)
	for _, l := range d.lots {
		s.calibrate(l)
	}
}

func (s *Score) countDeviation(d deviation, missed, met func(seen) bool) {
	var own Share
	own.count(d.lots, missed, met)
	if own.Of > 0 {
		s.Deviations.Of++
		s.Deviations.Thermometers++
	}
	if own.Hits > 0 {
		s.Deviations.Hits++
	}
}

func (s *Score) calibrate(l seen) {
	if l.made || l.p == nil || l.ideal == nil {
		return
	}
	b := &s.Bins[min(int(*l.p*bins), bins-1)]
	was := 0.0
	if l.missed {
		was = 1
		b.Missed++
	}
	b.Lots++
	b.Said += *l.p
	s.Brier += (*l.p - was) * (*l.p - was)
	s.Ideal += (*l.ideal - was) * (*l.ideal - was)
}
