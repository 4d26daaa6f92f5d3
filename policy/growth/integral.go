package growth

import (
	"math"
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// perHour is how many microseconds an hour has.
const perHour = 3_600_000_000

// Increase returns the growth predicted for s and the time it was counted over.
//
//	y = k · Σ Δtᵢ · (mean of μ between Tᵢ and Tᵢ₊₁)        [log10]
//
//	Δtᵢ  time between two readings                   [h]
//	Tᵢ   temperature of the product at a reading     [K-sized degrees]
//	μ    growth rate, rate.go                        [ln or log10 per hour]
//	k    1 for a rate in log10, 1/ln 10 for one in ln
//
// Range:    intervals longer than gap, and those that touch an unknown sample,
// are not counted: the caller must see to it that they leave the answer open.
// Between a known start or end of the lot and the reading next to it the
// temperature is that reading's.
// Assumes:  temperature linear in time between readings; no lag, no plateau.
// Source:   dN/dt = μN, whose logarithm is the integral of μ; with the secondary
// model put in, growth_predictions.csv GP-047, a closed form from memory.
// Departs:  from published predictions with a lag or a maximum density: predicts
// more.
// Checked:  growth_predictions.csv GP-031, GP-032, GP-047 to GP-059.
func (m Model) Increase(s series.Series, gap time.Duration) (Logs, time.Duration) {
	return m.increase(s, gap, 0)
}

// increase is Increase with all of s hotter by shift [K].
func (m *Model) increase(s series.Series, gap time.Duration, shift float64) (Logs, time.Duration) {
	var (
		sum      float64
		covered  int64
		u, last  float64
		longest  = gap.Microseconds()
		at, open = s.Start, false // open: something is known at at
	)
	for i := range s.Samples {
		r := &s.Samples[i]
		if r.T == unit.Unknown {
			open = false
			continue
		}
		last, u = u, m.u(r.T)+shift
		if dt := r.At - at; dt > 0 && dt <= longest {
			switch {
			case open && m.shape == endless && last >= 0 && u >= 0:
				sum += float64(dt) * m.thirds(last, u) // as mean, without the call
				covered += dt
			case open:
				sum += float64(dt) * m.mean(last, u)
				covered += dt
			case i == 0 && s.Start != 0:
				sum += float64(dt) * m.rate(u)
				covered += dt
			}
		}
		at, open = r.At, true
	}
	if dt := s.End - at; open && s.End != 0 && dt > 0 && dt <= longest {
		sum += float64(dt) * m.rate(u)
		covered += dt
	}
	return Logs(sum * m.hourly / perHour), time.Duration(covered) * time.Microsecond
}

// extent returns the coldest and the hottest known temperature, in kelvin above
// Tmin; false if nothing is known.
func (m *Model) extent(s series.Series) (e ends, ok bool) {
	lo, hi := unit.Micro(math.MaxInt64), unit.Unknown
	for _, r := range s.Samples {
		if r.T != unit.Unknown {
			lo, hi = min(lo, r.T), max(hi, r.T)
		}
	}
	return ends{m.u(lo), m.u(hi)}, lo <= hi
}
