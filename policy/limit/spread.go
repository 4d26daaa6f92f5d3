package limit

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// spread is the distribution of the error common to all readings.
type spread struct {
	u   unit.CelsiusDiff // standard uncertainty
	dof float64          // 0: infinitely many
}

// manyDoF is from where on Student's t is taken as normal.
const manyDoF = 1e6

// tail returns the chance that the error exceeds the headroom h.
func (s spread) tail(h unit.CelsiusDiff) float64 {
	switch {
	case math.IsInf(float64(h), 0) || s.u == 0:
		if h < 0 {
			return 1
		}
		return 0
	case s.dof == 0 || s.dof >= manyDoF:
		return math.Erfc(float64(h/s.u)/math.Sqrt2) / 2
	}
	return distuv.StudentsT{Sigma: 1, Nu: max(1, math.Floor(s.dof))}.Survival(float64(h / s.u))
}

// reach is as far as the common error can matter, in degrees of a scale: beyond
// it a normal error has a chance below 1e-17.
func (s spread) reach(on unit.Scale) shifts {
	if s.dof != 0 && s.dof < manyDoF {
		return allShifts
	}
	d := unit.FromComputed(min(unit.KelvinToDiff(9*s.u, on), unit.MaxDegrees), unit.Hotter)
	return shifts{-d, d + 1}
}

// missed returns the chance that the shift of the record lies in none of the
// pieces in which the limit holds, of those within reach.
func (s spread) missed(holding []shifts, on unit.Scale) float64 {
	at := func(d unit.Micro) unit.CelsiusDiff { return unit.DiffToKelvin(d.Degrees(), on) }
	if s.u == 0 {
		for _, h := range holding {
			if h.lo <= 0 && h.hi > 0 {
				return 0
			}
		}
		return 1
	}
	if len(holding) == 0 {
		return 1
	}
	p := s.tail(-at(holding[0].lo)) // below the first
	for i, h := range holding {
		p += s.tail(at(h.hi))
		if i+1 < len(holding) {
			p -= s.tail(at(holding[i+1].lo))
		}
	}
	return p
}

// pieces is a criterion that a record may keep in several pieces of its shifts.
type pieces interface {
	holding(s series.Series, asked shifts) []shifts
}
