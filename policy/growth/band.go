package growth

import (
	"time"

	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// WithinWorst returns the most growth there can have been if at every moment the
// true temperature was anywhere between cold and hot, and the time it was
// counted over. Both series have the same readings at the same times.
//
//	y = k · Σ ∫ max{μ(T) : cold(t) ≤ T ≤ hot(t)} dt        [log10]
//
// with the symbols of Increase; cold(t) and hot(t) are linear between readings.
// The rate rises to its optimum and falls beyond it, so the highest rate of an
// interval is at the hot end below the optimum, at the cold end above it, and at
// the optimum between. An interval is cut where an end passes the optimum.
//
// Range:    as Increase; a reading unknown in one of the two is unknown.
// Assumes:  nothing of how the error moved: every moment is taken for itself.
// Source:   design notes of this engine, growth: highest rate over each reading's
// true interval.
// Departs:  from any one path the product can have taken: it is never less.
// Checked:  by the property that no path within the band grows more.
func (m Model) WithinWorst(cold, hot series.Series, gap time.Duration) (Logs, time.Duration) {
	b := bounds{m: &m, cold: cold, hot: hot, worst: true}
	return b.within(gap)
}

// WithinBest returns the least growth there can have been: as WithinWorst, with
// the lowest rate over each moment's interval, which is at one of its ends.
func (m Model) WithinBest(cold, hot series.Series, gap time.Duration) (Logs, time.Duration) {
	b := bounds{m: &m, cold: cold, hot: hot}
	return b.within(gap)
}

// bounds are two series that the truth lies between, all of them shifted by some
// kelvin, and which extreme of the rate is asked for.
type bounds struct {
	m         *Model
	cold, hot series.Series
	colder    float64 // added to cold [K]
	hotter    float64 // added to hot [K]
	worst     bool
}

// within adds up the extreme rate. Below the optimum one of the two lines has it
// throughout; the rest is for bent.
func (b *bounds) within(gap time.Duration) (Logs, time.Duration) {
	var (
		m        = b.m
		sum      float64
		covered  int64
		is, was  ends
		longest  = gap.Microseconds()
		at, open = b.cold.Start, false
	)
	for i := range b.cold.Samples {
		r, t := &b.cold.Samples[i], b.hot.Samples[i].T
		if r.T == unit.Unknown || t == unit.Unknown {
			open = false
			continue
		}
		was, is = is, ends{m.u(r.T) + b.colder, m.u(t) + b.hotter}.ordered()
		if dt := r.At - at; dt > 0 && dt <= longest {
			switch {
			case open && was.hot <= m.opt && is.hot <= m.opt:
				sum += float64(dt) * m.mean(was.side(b.worst), is.side(b.worst))
				covered += dt
			case open:
				sum += float64(dt) * m.bent(was, is, b.worst)
				covered += dt
			case i == 0 && b.cold.Start != 0:
				sum += float64(dt) * m.bent(is, is, b.worst)
				covered += dt
			}
		}
		at, open = r.At, true
	}
	if dt := b.cold.End - at; open && b.cold.End != 0 && dt > 0 && dt <= longest {
		sum += float64(dt) * m.bent(is, is, b.worst)
		covered += dt
	}
	return Logs(sum * m.hourly / perHour), time.Duration(covered) * time.Microsecond
}

// ends are the coldest and the hottest a moment can have been [K above Tmin].
type ends struct{ cold, hot float64 }

func (e ends) ordered() ends {
	if e.cold > e.hot {
		return ends{e.hot, e.cold}
	}
	return e
}

func (e ends) side(hot bool) float64 {
	if hot {
		return e.hot
	}
	return e.cold
}

// toward returns the ends a share s of the way to f.
func (e ends) toward(f ends, s float64) ends {
	return ends{e.cold + s*(f.cold-e.cold), e.hot + s*(f.hot-e.hot)}
}

// bent is the mean extreme rate over an interval in which an end may pass the
// optimum.
func (m *Model) bent(a, b ends, worst bool) float64 {
	if a.cold == a.hot && b.cold == b.hot {
		return m.mean(a.cold, b.cold)
	}
	first, second := passes(a.hot, b.hot, m.opt), passes(a.cold, b.cold, m.opt)
	cuts := [4]float64{0, min(first, second), max(first, second), 1}
	var sum float64
	for i := range 3 {
		if w := cuts[i+1] - cuts[i]; w > 0 {
			sum += w * m.piece(a.toward(b, cuts[i]), a.toward(b, cuts[i+1]), worst)
		}
	}
	return sum
}

// passes returns at which share of the way from a to b the line is at x; 0 if
// it does not pass it.
func passes(a, b, x float64) float64 {
	if (a < x) == (b < x) {
		return 0
	}
	return (x - a) / (b - a)
}

// piece is the mean extreme rate over a time in which no end passes the optimum.
func (m *Model) piece(a, b ends, worst bool) float64 {
	mid := a.toward(b, 0.5)
	switch {
	case mid.hot <= m.opt && worst, mid.cold >= m.opt && !worst:
		return m.mean(a.hot, b.hot)
	case mid.hot <= m.opt, mid.cold >= m.opt:
		return m.mean(a.cold, b.cold)
	case worst:
		return m.rate(m.opt)
	}
	return m.lowest(a, b)
}

// opposed is how many parts a piece is searched in where its ends move against
// each other, so that the colder and the hotter may change places as the slower
// more than once. Where they move alike they do it once.
const opposed = 16

// lowest is the mean of the lower of the rates at the two ends, of which one is
// below the optimum and the other above.
func (m *Model) lowest(a, b ends) float64 {
	parts := 1
	if (b.cold-a.cold)*(b.hot-a.hot) < 0 {
		parts = opposed
	}
	var sum float64
	from := a
	for i := 1; i <= parts; i++ {
		to := a.toward(b, float64(i)/float64(parts))
		sum += m.slower(from, to)
		from = to
	}
	return sum / float64(parts)
}

// slower is lowest where the ends change places at most once.
func (m *Model) slower(a, b ends) float64 {
	lead, late := m.lead(a), m.lead(b)
	switch {
	case lead <= 0 && late <= 0:
		return m.mean(a.cold, b.cold)
	case lead >= 0 && late >= 0:
		return m.mean(a.hot, b.hot)
	}
	lo, hi := 0.0, 1.0
	for range 50 {
		if mid := lo + (hi-lo)/2; (m.lead(a.toward(b, mid)) > 0) == (lead > 0) {
			lo = mid
		} else {
			hi = mid
		}
	}
	x := a.toward(b, lo)
	if lead > 0 {
		return lo*m.mean(a.hot, x.hot) + (1-lo)*m.mean(x.cold, b.cold)
	}
	return lo*m.mean(a.cold, x.cold) + (1-lo)*m.mean(x.hot, b.hot)
}

// lead is by how much growth is faster at the cold end.
func (m *Model) lead(e ends) float64 { return m.rate(e.cold) - m.rate(e.hot) }
