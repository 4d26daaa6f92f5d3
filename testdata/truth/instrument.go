package truth

import (
	"math"
	"math/rand/v2"

	"lastgood/policy/limit"
	"lastgood/policy/metrology"
	"lastgood/policy/unit"
)

// line is an error over indicated temperature [K]: a + b·(x − mid).
type line struct{ a, b, mid float64 }

func (l line) at(x float64) float64 { return l.a + l.b*(x-l.mid) }

// indicated is what an instrument with that error shows at a true temperature.
func (l line) indicated(truth float64) float64 { return (truth + l.a - l.b*l.mid) / (1 - l.b) }

// between is the line part of the way from l to m.
func (l line) between(m line, part float64) line {
	return line{l.a + part*(m.a-l.a), l.b + part*(m.b-l.b), l.mid}
}

// thermometer is one with its true history: e₀ at the last good check, e₁ at
// the failed one, and when it went from one to the other.
type thermometer struct {
	was, is line
	onset   Onset
	began   float64 // share of the window after which it began to change
	cell    Cell
}

// at is the true error once a share f of the window has passed.
func (t thermometer) at(f float64) line {
	switch t.onset {
	case Gradual:
		return t.was.between(t.is, f)
	case Delayed:
		if f <= t.began {
			return t.was
		}
		return t.was.between(t.is, (f-t.began)/(1-t.began))
	}
	if f <= t.began {
		return t.was
	}
	return t.is
}

// display is a temperature as the instrument shows it, in millionths.
func (t thermometer) display(x float64) unit.Micro {
	step := unit.FromComputed(t.cell.Resolution, unit.Colder)
	n := math.Round(x * unit.PerDegree / float64(step))
	return unit.Micro(n) * step
}

// The window of a deviation [µs]: a check every week (common practice in plants
// that do not check each shift).
const (
	goodAt   = int64(1_790_000_000_000_000)
	failedAt = goodAt + 7*24*3600*1_000_000
)

// tolerance is ±1 °C (thermometer_checks.csv TC001).
const tolerance = 1_000_000

// draw makes a thermometer that passed one check and failed the next, and what
// the engine may know of it. A check that went otherwise opens nothing, so it is
// drawn again, as in a plant.
func draw(r *rand.Rand, cell Cell, p process) (thermometer, *metrology.Doubt) {
	for {
		t := thermometer{onset: cell.Onset, began: r.Float64(), cell: cell}
		t.was = line{r.NormFloat64() * 0.3, r.NormFloat64() * 0.003, p.mid()}
		jump := 1 + r.ExpFloat64()
		if r.IntN(2) == 0 {
			jump = -jump
		}
		t.is = line{t.was.a + jump, t.was.b + r.NormFloat64()*0.01, p.mid()}
		ref := reference{r.NormFloat64() * cell.U / math.Sqrt2}
		facts := metrology.Facts{
			Checks: []metrology.Check{t.check(r, ref, goodAt, t.was, p), t.check(r, ref, failedAt, t.is, p)}, Failed: 1,
			Tolerance: unit.Diff{Value: tolerance, Scale: unit.CelsiusScale}, Rule: metrology.DefaultRule(),
			Beyond: metrology.DefaultBeyond, UseUncertainty: unit.CelsiusDiff(cell.Resolution / math.Sqrt(12)),
		}
		passed := facts.Checks[0].Judge(facts.Tolerance, facts.Rule)
		failed := facts.Checks[1].Judge(facts.Tolerance, facts.Rule)
		if passed.Found != metrology.Pass || failed.Found != metrology.Fail {
			continue
		}
		d, err := metrology.NewDoubt(facts)
		if err != nil {
			panic(err) // the facts are made here: they cannot contradict themselves
		}
		return t, d
	}
}

// reference is the standard that both checks are made with: half of the
// variance of a check is its own and stays, half is of the bath and the day.
type reference struct{ error float64 }

// check is what a technician writes down at a moment.
func (t thermometer) check(r *rand.Rand, ref reference, at int64, e line, p process) metrology.Check {
	c := metrology.Check{At: at}
	step := unit.Diff{Value: unit.FromComputed(t.cell.Resolution, unit.Colder), Scale: unit.CelsiusScale}
	for _, nominal := range p.points {
		truth := nominal + r.NormFloat64()*0.05 // the bath is never quite there
		believed := truth + ref.error + r.NormFloat64()*t.cell.U/math.Sqrt2
		found := t.display(e.indicated(truth))
		c.Points = append(c.Points, metrology.NewPoint("comparison", metrology.Reference{
			True: unit.FromComputed(believed, unit.Colder), Scale: unit.CelsiusScale, U: unit.CelsiusDiff(t.cell.U),
		}, &found, nil, &step))
	}
	return c
}

// oracle knows the bracket of the error exactly, and not when it went from one
// end to the other.
type oracle struct{ t thermometer }

// At is the exact bracket.
func (o oracle) At(_ int64, x unit.Celsius) (metrology.Bounds, metrology.Standing) {
	was, is := o.t.was.at(float64(x)), o.t.is.at(float64(x))
	return metrology.Bounds{
		Lo: unit.CelsiusDiff(min(was, is)), Hi: unit.CelsiusDiff(max(was, is)),
		Old: unit.CelsiusDiff(was), Found: unit.CelsiusDiff(is),
	}, metrology.Known
}

// Reason is empty: nothing is unknown.
func (o oracle) Reason(int64, unit.Celsius) string { return "" }

var _ limit.Errors = oracle{}
