package truth

import (
	"math/rand/v2"

	"lastgood/policy/limit"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// window is the time between the two checks [s].
const window = float64(failedAt-goodAt) / 1e6

// batch is one lot: its process, its own chance, and when it began [s].
type batch struct {
	process
	seed uint64
	from float64
}

// recorded is a lot as it was and as it was read.
type recorded struct{ was, read series.Series }

// was is what the lot's temperature truly was.
func (b batch) was(margin float64) series.Series {
	out := series.Series{Scale: unit.CelsiusScale}
	run := b.run(rand.New(rand.NewPCG(b.seed, 0)), margin)
	for s := 0.0; s <= b.lasts; s += b.every {
		at := goodAt + int64((b.from+s)*1e6) + 1
		out.Samples = append(out.Samples, series.Sample{At: at, T: unit.FromComputed(run(s), unit.Colder)})
	}
	return out
}

// record is the lot as it was and as t read it.
func (b batch) record(t thermometer, margin float64) recorded {
	r := recorded{b.was(margin), series.Series{Scale: unit.CelsiusScale}}
	for _, x := range r.was.Samples {
		part := float64(x.At-goodAt) / float64(failedAt-goodAt)
		shown := t.display(t.at(part).indicated(x.T.Degrees()))
		r.read.Samples = append(r.read.Samples, series.Sample{At: x.At, T: shown})
	}
	return r
}

// margin looks for the margin with which the lot's true headroom is near to a
// wanted one [K].
func (b batch) margin(l limit.Limit, wanted float64) float64 {
	m := 0.0
	for range 8 {
		h, ok := l.Criterion.Headroom(b.was(m))
		if !ok {
			break
		}
		m += wanted - float64(h)
	}
	return m
}

// atWorst says whether the true error was at the harmful end of the true bracket
// from the lot's first reading to its last.
func (b batch) atWorst(t thermometer, l limit.Limit) bool {
	x := float64(l.Criterion.Temperatures()[0])
	worse := 1.0
	if l.Criterion.Harm() == unit.Hotter {
		worse = -1
	}
	most := max(worse*t.was.at(x), worse*t.is.at(x))
	first, last := b.from/window, (b.from+b.lasts)/window
	return most-worse*t.at(first).at(x) < 1e-9 && most-worse*t.at(last).at(x) < 1e-9
}
