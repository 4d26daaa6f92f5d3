package limit

import (
	"math"
	"slices"

	"lastgood/policy/metrology"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// end names one way of taking the error out of a series.
type end int

// The ends of the bracket, and the two central errors of the sudden model.
const (
	worst end = iota // the largest error in the harmful direction
	best             // the smallest
	found            // the error as found at the failed check
	old              // the error as left at the last good check
)

// temperatures are what one reading may have been, by end.
type temperatures [4]unit.Micro

// bracket is a recorded series with everything its readings may have been. It
// is the scratch of one evaluation: two slices, whatever the number of readings.
type bracket struct {
	recorded series.Series
	at       []temperatures
	work     []series.Sample

	inDoubt      int // readings whose error is known to lie in a bracket
	unknown      int // readings of whose error nothing can be said
	firstUnknown int

	worstError unit.CelsiusDiff // largest in the harmful direction, over inDoubt
	safeSide   bool             // every error as found is in the other direction
	safest     unit.CelsiusDiff // the largest of those
	u          unit.CelsiusDiff // largest standard uncertainty, over inDoubt
	dof        float64          // fewest degrees of freedom, over inDoubt; 0: infinitely many
}

// take works out every reading of s.
//
//	T = R − e        [degrees of the scale, whole millionths, rounded towards harm]
//
//	R  reading as recorded                                   [degrees]
//	e  error, indicated minus true, an end of its bracket    [K, turned to degrees]
//
// Range:    e finite; otherwise the temperature is unknown.
// Assumes:  the error at the indicated temperature.
// Source:   VIM 2.16 by way of the design notes on errors, §0, X = R − E.
// Departs:  rounding towards harm, so that it never makes a lot meet its limit.
// Checked:  the worked numbers of design notes on the procedure, §2, evaluate_test.go.
func take(s series.Series, errs Errors, c Criterion) *bracket {
	b := &bracket{
		recorded: s, at: make([]temperatures, len(s.Samples)), work: make([]series.Sample, len(s.Samples)),
		worstError: unit.CelsiusDiff(math.Inf(-1)), safeSide: true,
	}
	harm, scale := c.Harm(), c.Scale()
	_, outward := c.(between)
	for i, r := range s.Samples {
		if r.T == unit.Unknown {
			b.at[i] = unknownTemperatures
			continue
		}
		e, standing := errs.At(r.At, unit.ToCelsius(r.T, scale))
		switch {
		case standing == metrology.Trusted:
			b.at[i] = temperatures{r.T, r.T, r.T, r.T}
		case standing == metrology.Known && finite(e):
			b.at[i] = b.correct(r.T, e, harm, scale, outward)
		default:
			if b.unknown == 0 {
				b.firstUnknown = i
			}
			b.unknown++
			b.at[i] = unknownTemperatures
		}
	}
	return b
}

var unknownTemperatures = temperatures{unit.Unknown, unit.Unknown, unit.Unknown, unit.Unknown}

// finite says whether every bound is a number: a bracket without an end bounds
// nothing.
func finite(e metrology.Bounds) bool {
	sum := float64(e.Lo) + float64(e.Hi) + float64(e.Old) + float64(e.Found) + float64(e.U)
	return !math.IsNaN(sum) && !math.IsInf(sum, 0)
}

// correct takes the ends of the bracket out of one reading and notes what the
// whole series needs of them. outward rounds the best end away from harm: where
// neither end alone is a path that decides, the bracket must hold them all.
func (b *bracket) correct(r unit.Micro, e metrology.Bounds, harm unit.Rounding, scale unit.Scale, outward bool) temperatures {
	less := func(d unit.CelsiusDiff) unit.Micro {
		return r - unit.FromComputed(unit.KelvinToDiff(d, scale), -harm)
	}
	b.inDoubt++
	b.u = max(b.u, e.U)
	if e.DoF != 0 && (b.dof == 0 || e.DoF < b.dof) {
		b.dof = e.DoF
	}
	most, least, central := e.Hi, e.Lo, e.Found
	if harm == unit.Hotter {
		most, least, central = e.Lo, e.Hi, -e.Found
		b.worstError = max(b.worstError, 0-e.Lo) // 0 − 0 is no −0
	} else {
		b.worstError = max(b.worstError, e.Hi)
	}
	b.safeSide, b.safest = b.safeSide && central < 0, max(b.safest, -central)
	t := temperatures{worst: less(most), best: less(least), found: less(e.Found), old: less(e.Old)}
	if outward {
		t[best] = r - unit.FromComputed(unit.KelvinToDiff(least, scale), harm)
	}
	return t
}

// along returns the series at one end of the bracket. It is good until the next
// call: the samples are the scratch.
func (b *bracket) along(e end) series.Series {
	for i := range b.work {
		b.work[i] = series.Sample{At: b.recorded.Samples[i].At, T: b.at[i][e]}
	}
	return b.scratch()
}

// copyOf is the series at one end of the bracket, for whoever needs two at once.
func (b *bracket) copyOf(e end) series.Series {
	s := b.along(e)
	s.Samples = slices.Clone(s.Samples)
	return s
}

// scratch is the recorded series with the scratch samples.
func (b *bracket) scratch() series.Series {
	s := b.recorded
	s.Samples = b.work
	return s
}
