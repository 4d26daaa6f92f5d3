package limit

import (
	"math"

	"lastgood/policy/unit"
)

// probability returns the share of the error's paths on which the limit is
// missed, if the error jumped at one moment and every moment of the window is
// as likely as any other.
//
//	P = Σᵢ wᵢ · Q(hᵢ/u),   wᵢ = |(tᵢ₋₁, tᵢ] ∩ (After, FailedAt]| / (FailedAt − After)
//
//	i    number of readings before the jump: they carry e₀ as left at the last
//	     good check, the others e₁ as found at the failed one
//	tᵢ   time of the first reading with e₁                          [µs]
//	hᵢ   headroom of the series with that path taken out            [K]
//	u    standard uncertainty of the one error common to all, the largest over
//	     the lot's readings                                         [K, k = 1]
//	Q    upper tail of the standard normal distribution; with u = 0, 1 where
//	     h < 0 and 0 otherwise
//
// Range:    nil where the window has no length or no beginning.
// Assumes:  one jump that does not heal; a normal error; a headroom that no
// shift changes counts as missed or met for certain.
// Source:   design notes on errors, §4 and §5 (step, onset uniform);
// JCGM 106:2012, 7.4 for one known error, by way of those notes.
// Departs:  readings that are not in doubt keep their value but share the common
// error: that never makes the probability of a limit met as recorded smaller.
// For kinds other than every reading, more than 32 moments of onset inside
// the lot are taken in 32 groups of equal count, each at its more harmful end.
// Checked:  drift_interval.csv, missed_limit_probability, column step;
// by enumeration, probability_test.go.
func (b *bracket) probability(c Criterion, o Onset) *float64 {
	window := float64(o.FailedAt) - float64(o.After)
	if o.After == math.MinInt64 || window <= 0 {
		return nil
	}
	var p float64
	if e, ok := c.(every); ok {
		p = b.everyOnset(e, o)
	} else {
		p = b.groupedOnset(c, o)
	}
	return new(min(max(p/window, 0), 1))
}

// weight is the time [µs] of the window in which the jump leaves the first i
// readings with the old error and no more.
func (b *bracket) weight(i int, o Onset) float64 {
	from, to := o.After, o.FailedAt
	s := b.recorded.Samples
	if i > 0 {
		from = max(from, s[i-1].At)
	}
	if i < len(s) {
		to = min(to, s[i].At)
	}
	return max(float64(to)-float64(from), 0)
}

// everyOnset sums over all moments in one pass: the reading nearest to harm is
// the nearer of a running one before the jump and a running one after it.
func (b *bracket) everyOnset(e every, o Onset) float64 {
	n := len(b.at)
	after := unit.Micro(math.MaxInt64) // over readings i… with the error as found
	for i := n - 1; i >= 0; i-- {
		after = min(after, e.sideOf(b.at[i][found]))
		b.work[i].T = after
	}
	before := unit.Micro(math.MaxInt64) // over readings …i−1 with the old error
	var p, q float64
	last := unit.Unknown
	for i := 0; i <= n; i++ {
		least := before
		if i < n {
			least = min(least, b.work[i].T)
			before = min(before, e.sideOf(b.at[i][old]))
		}
		w := b.weight(i, o)
		if w == 0 {
			continue
		}
		if least != last { // it seldom changes, and the tail costs more than the rest
			last, q = least, tail(e.kelvin(least), b.u)
		}
		p += w * q
	}
	return p
}

// sideOf is side, with a temperature of which nothing is known out of the way.
func (e every) sideOf(t unit.Micro) unit.Micro {
	if t == unit.Unknown {
		return math.MaxInt64
	}
	return e.side(t)
}

// groups is how many moments of onset are evaluated for a kind that needs a
// whole evaluation for each.
const groups = 32

// groupedOnset evaluates the headroom once for each moment, or group of
// moments, from the latest to the earliest.
func (b *bracket) groupedOnset(c Criterion, o Onset) float64 {
	n := len(b.at)
	moments := 0
	for i := range n + 1 {
		if b.weight(i, o) > 0 {
			moments++
		}
	}
	// The harmful end of a group: early, if the error as found is the worse.
	allFound := c.margin(b.along(found))
	allOld := c.margin(b.along(old))
	early := allFound <= allOld
	if a, z := tail(allFound, b.u), tail(allOld, b.u); math.Abs(a-z) < certain && b.ordered() {
		return max(a, z) * (float64(o.FailedAt) - float64(o.After))
	}

	var p, w float64
	seen, group := 0, 0
	late := n // the path at the late end of the group that is being gathered
	for i := n; i >= 0; i-- {
		if i < n {
			b.work[i].T = b.at[i][found]
		}
		wi := b.weight(i, o)
		if wi == 0 {
			continue
		}
		if w == 0 {
			late = i
		}
		seen, w = seen+1, w+wi
		if moments > groups && seen*groups < (group+1)*moments {
			continue
		}
		p += w * b.tailAt(c, late, i, early)
		group, w = group+1, 0
	}
	return p
}

// certain is a difference of chances that nobody can see. Most lots have margin
// enough, or none, on every path; then two evaluations settle it.
const certain = 1e-12

// ordered says whether one of the two errors is the more harmful for every
// reading, so that every path lies between the two constant ones.
func (b *bracket) ordered() bool {
	hotter, colder := false, false
	for _, t := range b.at {
		hotter = hotter || t[found] > t[old]
		colder = colder || t[found] < t[old]
	}
	return !hotter || !colder
}

// tailAt is the chance of a miss with the jump after the first late readings, or
// after the first i ≤ late. The scratch stands at i.
func (b *bracket) tailAt(c Criterion, late, i int, early bool) float64 {
	if early || late == i {
		return tail(c.margin(b.scratch()), b.u)
	}
	b.put(i, late, old)
	p := tail(c.margin(b.scratch()), b.u)
	b.put(i, late, found)
	return p
}

// put sets the scratch of readings from … to−1 to one end.
func (b *bracket) put(from, to int, e end) {
	for k := from; k < to; k++ {
		b.work[k].T = b.at[k][e]
	}
}

// tail returns the chance that an error of standard uncertainty u exceeds the
// headroom h.
func tail(h, u unit.CelsiusDiff) float64 {
	switch {
	case math.IsInf(float64(h), 0) || u == 0:
		if h < 0 {
			return 1
		}
		return 0
	}
	return math.Erfc(float64(h/u)/math.Sqrt2) / 2
}
