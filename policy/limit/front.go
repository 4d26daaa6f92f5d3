package limit

import "lastgood/policy/unit"

// front is the readings that can be the nearest to harm on some path: for a limit
// on every reading no other matters, and often a handful of thousands is left.
type front struct {
	at    []nearest // in order of time
	u     spread
	scale unit.Scale
	o     Onset

	first, last int64
}

// nearest is how far one reading is from the bound with each of the two errors;
// negative beyond it.
type nearest struct {
	at         int64
	old, found unit.Micro
}

// front drops every reading that is never nearer to harm than a later one whose
// error had grown further, or an earlier one whose error had grown less.
func (b *bracket) front(e every, o Onset) *front {
	f := &front{u: spread{b.u, b.dof}, scale: e.at.Scale, o: o}
	s := b.recorded.Samples
	for i := range s {
		t := &b.at[i]
		if t[old] == unit.Unknown {
			continue
		}
		n := nearest{s[i].At, e.side(t[old]), e.side(t[found])}
		if len(f.at) == 0 {
			f.first = n.at
		}
		f.last = n.at
		f.add(n)
	}
	return f
}

// add takes in a reading that comes after all others.
func (f *front) add(n nearest) {
	for len(f.at) > 0 {
		p := f.at[len(f.at)-1]
		if p.found >= p.old && p.old <= n.old && p.found <= n.found {
			return // the earlier one is nearer still, and of a better error it has the smaller part
		}
		if n.found > n.old || n.old > p.old || n.found > p.found {
			break
		}
		f.at = f.at[:len(f.at)-1] // this one is nearer, and of a worse error it has the larger part
	}
	f.at = append(f.at, n)
}

func (f *front) ends() (first, last int64) { return f.first, f.last }

// along is the chance of a miss by the nearest of all readings, the error of each
// being e₀ + g·(e₁ − e₀).
func (f *front) along(g func(at int64) float64) float64 {
	least := float64(allShifts.hi)
	for _, n := range f.at {
		least = min(least, float64(n.old)+g(n.at)*float64(n.found-n.old))
	}
	return f.u.tail(unit.DiffToKelvin(least/unit.PerDegree, f.scale))
}

// sudden sums over all moments in one pass: the reading nearest to harm is the
// nearer of a running one before the jump and a running one after it.
func (f *front) sudden() float64 {
	n := len(f.at)
	after := make([]unit.Micro, n+1) // over readings i… with the error as found
	after[n] = allShifts.hi
	for i := n - 1; i >= 0; i-- {
		after[i] = min(after[i+1], f.at[i].found)
	}
	before := allShifts.hi // over readings …i−1 with the old error
	var sum, q float64
	was := unit.Unknown
	since := f.o.After
	for i := 0; i <= n; i++ {
		until := f.o.FailedAt
		if i < n {
			until = min(until, max(f.at[i].at, f.o.After))
		}
		if least := min(before, after[i]); until > since {
			if least != was { // it seldom changes, and the tail costs more than the rest
				was, q = least, f.u.tail(unit.DiffToKelvin(least.Degrees(), f.scale))
			}
			sum += (float64(until) - float64(since)) * q
			since = until
		}
		if i < n {
			before = min(before, f.at[i].old)
		}
	}
	return sum / (float64(f.o.FailedAt) - float64(f.o.After))
}
