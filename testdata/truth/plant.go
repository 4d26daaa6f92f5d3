package truth

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"

	"lastgood/policy/limit"
	"lastgood/policy/metrology"
)

// Onset is how a thermometer goes wrong.
type Onset string

// The ways.
const (
	Sudden  Onset = "sudden"  // it jumps once
	Gradual Onset = "gradual" // it drifts all along
	Delayed Onset = "delayed" // it starts to drift at some moment
)

// Cell is one kind of plant.
type Cell struct {
	Kind       string
	Onset      Onset
	Resolution float64 // step of the display [K]
	U          float64 // standard uncertainty of a check's true temperature [K]
}

// Cells are all kinds of plants that are made.
func Cells() []Cell {
	var out []Cell
	for _, p := range processes {
		for _, o := range []Onset{Sudden, Gradual, Delayed} {
			for _, d := range []float64{0.1, 0.5} {
				for _, u := range []float64{0.05, 0.25} {
					out = append(out, Cell{p.name, o, d, u})
				}
			}
		}
	}
	return out
}

// A thermometer reads so many lots between its checks: lots of a plant, with
// margins of all sizes; lots made to miss by less than 2u; and lots made to miss
// by next to nothing, where a bracket that is too narrow would show at once.
const lotsEach, nearEach, edgeEach = 8, 4, 4

// seen is one lot: what was so and what the engine said.
type seen struct {
	made      bool    // made to miss: no lot of a plant
	missed    bool    // the truth
	atWorst   bool    // all along the true error was the harmful end of the true bracket
	spare     float64 // the lot's true headroom [K], below 0 if it missed
	verdict   limit.Verdict
	oracleMet bool
	p, ideal  *float64 // probability missed: the engine's, and with the bracket known exactly
}

// deviation is one thermometer's lots. They share one error.
type deviation struct {
	u    float64 // standard uncertainty of the error in use at the limit [K]
	lots []seen
}

// Run makes n deviations of a cell and scores them.
func Run(cell Cell, n int, seed uint64) (Score, error) {
	var p process
	for _, q := range processes {
		if q.name == cell.Kind {
			p = q
		}
	}
	l, err := p.parsed()
	if err != nil {
		return Score{}, err
	}
	name := fnv.New64a()
	fmt.Fprint(name, cell)
	r := rand.New(rand.NewPCG(seed, name.Sum64()))
	s := Score{Cell: cell}
	for range n {
		d, err := one(r, cell, p, l)
		if err != nil {
			return Score{}, fmt.Errorf("%s: %w", p.name, err)
		}
		s.add(d)
	}
	return s, nil
}

// one makes one deviation.
func one(r *rand.Rand, cell Cell, p process, l limit.Limit) (deviation, error) {
	t, doubt := draw(r, cell, p)
	b, _ := doubt.At(failedAt, l.Criterion.Temperatures()[0])
	d := deviation{u: float64(b.U)}
	for i := range lotsEach + nearEach + edgeEach {
		lot := batch{p, r.Uint64(), r.Float64() * (window - p.lasts)}
		var m float64
		switch {
		case i < lotsEach:
			m = -4 + 8*r.Float64()
		case i < lotsEach+nearEach:
			m = lot.margin(l, -2*d.u*r.Float64())
		default:
			m = lot.margin(l, -edge*d.u*r.Float64())
		}
		s, decided, err := judge(lot.record(t, m), t, doubt, l)
		if err != nil {
			return d, err
		}
		s.made = i >= lotsEach
		s.atWorst = lot.atWorst(t, l)
		if decided {
			d.lots = append(d.lots, s)
		}
	}
	return d, nil
}

// judge asks the engine about one lot. Decided is false if its true record
// decides nothing.
func judge(lot recorded, t thermometer, doubt *metrology.Doubt, l limit.Limit) (s seen, decided bool, err error) {
	so := l.Criterion.Judge(lot.was)
	if so.Decision == limit.Undecided {
		return s, false, nil
	}
	s.missed = so.Decision == limit.Fails
	spare, _ := l.Criterion.Headroom(lot.was)
	s.spare = float64(spare)
	onset := limit.Onset{After: goodAt, FailedAt: failedAt}
	said, err := l.Evaluate(lot.read, doubt, onset)
	if err != nil {
		return s, false, err
	}
	best, err := l.Evaluate(lot.read, oracle{t}, onset)
	if err != nil {
		return s, false, err
	}
	s.verdict, s.oracleMet = said.Verdict, best.Verdict == limit.Met
	s.p, s.ideal = likelihood(said, t.onset), likelihood(best, t.onset)
	return s, true, nil
}
