package disposition

import (
	"slices"

	"lastgood/policy/limit"
	"lastgood/policy/sampling"
)

// Facts are what is known of one portion besides its verdict.
type Facts struct {
	// MissedAsRecorded: the readings missed the limit before any correction. Such a
	// portion counts as missed, whatever its verdict.
	MissedAsRecorded bool
	Where            Place
	Level            int      // of the impact, 1 to 5; any other number counts as 5
	Regimes          []Regime // that govern the limit; each of them has its say
	Evidence         []Evidence
	Tests            []sampling.Outcome // of product, ordered for this portion

	// Toxin: the hazard is a toxin, or one may have formed, that no later step
	// undoes.
	Toxin bool
	// ListeriaContact: ready-to-eat product that Listeria monocytogenes was found
	// on, or on a surface that it touched.
	ListeriaContact bool
	// OthersInDoubt: another part of the same batch is not shown to have met its
	// limit.
	OthersInDoubt bool
}

// settled resolves contradictions and what is not known towards the worse.
func settled(v limit.Verdict, f Facts) (limit.Verdict, Facts) {
	switch {
	case f.MissedAsRecorded:
		v = limit.Missed
	case v != limit.Met && v != limit.Indeterminate && v != limit.Missed:
		v = limit.Unknown
	}
	if f.Where != InControl && f.Where != Retrieved {
		f.Where = Shipped
	}
	if f.Level < 1 || f.Level > highest {
		f.Level = highest
	}
	if v == limit.Unknown { // as indeterminate, one level higher
		f.Level = min(f.Level+1, highest)
	}
	return v, f
}

const highest = 5

// has says whether evidence is attached and counts here.
func (f Facts) has(e Evidence) bool {
	switch {
	case e == DownstreamStep && f.Toxin, e == TestResults && f.pending():
		return false
	}
	return slices.Contains(f.Evidence, e)
}

// rejected says whether a test of product found it bad.
func (f Facts) rejected() bool {
	return slices.ContainsFunc(f.Tests, func(o sampling.Outcome) bool { return o.Decision == sampling.Reject })
}

// pending says whether a test that was ordered has not decided yet.
func (f Facts) pending() bool {
	return slices.ContainsFunc(f.Tests, func(o sampling.Outcome) bool {
		return o.Decision != sampling.Accept && o.Decision != sampling.Reject
	})
}

// under says whether a regime of this kind governs the portion.
func (f Facts) under(is func(regime) bool) bool {
	return slices.ContainsFunc(f.Regimes, func(r Regime) bool { return is(lookUp(r)) })
}
