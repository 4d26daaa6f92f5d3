// Package growth predicts how much bacteria grow: the growth rate at a
// temperature by a secondary model, and its integral over a record.
//
// There is no lag and no plateau unless somebody counts one: growth is predicted
// from the first moment on and without end, which is never less than what comes.
package growth

import (
	"fmt"
	"math"

	"lastgood/policy/unit"
)

// Logs is an increase in numbers in decades: log10(N/N0).
type Logs float64

// slack is what the rounding of sums may add to an increase, as a share of it:
// a record that comes to exactly what is allowed must not fail for it.
const slack = 1e-12

// Exceeds says whether an increase is more than what is allowed, but for float
// noise.
func (l Logs) Exceeds(allowed Logs) bool { return l > allowed*(1+slack) }

// Form is the shape of a secondary model: how the rate depends on temperature.
type Form string

// The forms. Each is written out where it is computed, in rate.go.
const (
	SquareRoot        Form = "square_root"
	Ratkowsky         Form = "ratkowsky"
	ModifiedRatkowsky Form = "modified_ratkowsky"
	Cardinal          Form = "cardinal"
)

// Unit is what a rate counts in an hour.
type Unit string

// The units of a rate. Sources often do not say which they mean; a rate in
// log10 predicts 2.3 times the growth of the same number in ln.
const (
	LnPerHour    Unit = "ln_per_hour"
	Log10PerHour Unit = "log10_per_hour"
)

// Parameters are what a model is written with. Which of them it needs depends
// on its form; the others stay zero.
type Parameters struct {
	Form  Form
	Rate  Unit
	B     float64          // square root and both Ratkowsky forms [√rate per K]
	Tmin  unit.Temperature // no growth at it or below
	C     float64          // both Ratkowsky forms [1/K]
	Tmax  unit.Temperature // all but square root: no growth at it or above
	Topt  unit.Temperature // cardinal: where growth is fastest
	MuOpt float64          // cardinal: the rate at Topt
}

// ParameterError says which parameter no model can have, and why.
type ParameterError struct {
	Parameter string // form, rate, b, c, tmax, topt, mu_opt
	Detail    string
}

// Error returns the parameter and the reason.
func (e *ParameterError) Error() string { return e.Parameter + ": " + e.Detail }

// The ranges that a model accepts. Published values lie well inside (b to 0.24,
// c to 0.75, optimum rates to 7 per hour); outside, a unit or a decimal point
// has slipped. Below minFall the rate at Topt would fall to nothing at once.
const (
	MaxB     = 1.0
	MaxC     = 5.0
	MaxMuOpt = 50.0
	minFall  = 0.1 // [K] from Topt to Tmax
	maxWidth = 150 // [K] from Tmin to Tmax
)

// Model is a secondary model on one temperature scale, that of its Tmin. Inside,
// a temperature is u, in kelvin above Tmin.
type Model struct {
	shape  shape
	scale  unit.Scale
	tmin   unit.Micro
	kelvin float64 // kelvin in a millionth of a degree of the scale
	hourly float64 // decades in one of the rate's unit

	factor      float64 // b²; unused by cardinal
	c           float64
	top         float64 // u of Tmax; +Inf without one
	opt         float64 // u of the highest rate; +Inf without one
	slope, base float64 // cardinal: the rate is u²(u − top)/(slope·u + base)
}

// shape is a form as the arithmetic sees it.
type shape int8

const (
	endless shape = iota // rises for ever
	squared              // with the factor that ends it squared
	single               // with that factor as it is
	ratio                // a ratio of a cubic and a line
)

var shapeOf = map[Form]shape{SquareRoot: endless, Ratkowsky: squared, ModifiedRatkowsky: single, Cardinal: ratio}

// New returns the model with the given parameters. A record is integrated on
// the scale of Tmin; b and c are per kelvin on any scale. Its error is a
// *ParameterError.
func New(p Parameters) (Model, error) {
	if err := p.check(); err != nil {
		return Model{}, err
	}
	m := Model{
		shape: shapeOf[p.Form], scale: p.Tmin.Scale, tmin: p.Tmin.Value,
		kelvin: float64(unit.DiffToKelvin(1, p.Tmin.Scale)) / unit.PerDegree,
		hourly: 1, factor: p.B * p.B, c: p.C, top: math.Inf(1), opt: math.Inf(1),
	}
	if p.Rate == LnPerHour {
		m.hourly = 1 / math.Ln10
	}
	if m.shape == endless {
		return m, nil
	}
	m.top = m.above(p.Tmax)
	if !(m.top > 0 && m.top <= maxWidth) {
		return Model{}, &ParameterError{"tmax", fmt.Sprintf("tmax must be above tmin, by at most %v K", maxWidth)}
	}
	if m.shape == ratio {
		return m.peaked(p)
	}
	m.opt = m.fastest()
	return m, nil
}

// peaked is m with its Topt. The denominator of the cardinal model is a line in
// u; μopt goes into it.
func (m Model) peaked(p Parameters) (Model, error) {
	m.opt = m.above(p.Topt)
	if !(m.opt <= m.top-minFall && 2*m.opt > m.top) {
		return Model{}, &ParameterError{"topt", fmt.Sprintf("topt must be nearer to tmax than to tmin, and below tmax by %v K: otherwise it is not where growth is fastest", minFall)}
	}
	m.slope = m.opt * (3*m.opt - 2*m.top) / p.MuOpt
	m.base = m.opt * m.opt * (m.top - 2*m.opt) / p.MuOpt
	return m, nil
}

// check refuses numbers that no model of the form can have.
func (p Parameters) check() error {
	within := func(name string, v, most float64) error {
		if v > 0 && v <= most {
			return nil
		}
		return &ParameterError{name, fmt.Sprintf("it is %v: it must be more than 0 and at most %v", v, most)}
	}
	if p.Rate != LnPerHour && p.Rate != Log10PerHour {
		return &ParameterError{"rate", fmt.Sprintf("there is no unit %q: write %s or %s", string(p.Rate), LnPerHour, Log10PerHour)}
	}
	switch p.Form {
	case SquareRoot:
		return within("b", p.B, MaxB)
	case Ratkowsky, ModifiedRatkowsky:
		if err := within("b", p.B, MaxB); err != nil {
			return err
		}
		return within("c", p.C, MaxC)
	case Cardinal:
		return within("mu_opt", p.MuOpt, MaxMuOpt)
	}
	return &ParameterError{"form", fmt.Sprintf("there is no form %q", string(p.Form))}
}

// above returns how far a temperature is above Tmin [K].
func (m *Model) above(t unit.Temperature) float64 {
	return float64(t.On(m.scale, unit.Hotter).Value-m.tmin) * m.kelvin
}

// Scale is the scale that records are integrated on.
func (m Model) Scale() unit.Scale { return m.scale }

// Range returns the temperatures between which there is growth; hi is +Inf
// where the model knows no end.
func (m Model) Range() (lo, hi unit.Celsius) {
	lo = unit.ToCelsius(m.tmin, m.scale)
	return lo, lo + unit.Celsius(m.top)
}

// Optimum returns where growth is fastest; false where the rate rises without
// end.
func (m Model) Optimum() (unit.Celsius, bool) {
	return unit.ToCelsius(m.tmin, m.scale) + unit.Celsius(m.opt), !math.IsInf(m.opt, 1)
}

// Rate returns the growth rate at t, a temperature on the model's scale, in
// decades per hour.
func (m Model) Rate(t unit.Micro) float64 { return m.rate(m.u(t)) * m.hourly }

func (m *Model) u(t unit.Micro) float64 { return float64(t-m.tmin) * m.kelvin }
