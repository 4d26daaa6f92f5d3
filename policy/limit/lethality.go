package limit

import (
	"strconv"
	"time"

	"lastgood/policy/lethality"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// lethalityKind is heat added up: F₀, P-values, pasteurisation units.
var lethalityKind = Kind{
	Name: "lethality",
	Parameters: []Parameter{
		{Name: "reference", Form: Temperature, Required: true},
		{Name: "z", Form: Difference, Required: true},
		{Name: "minutes", Form: Number, Required: true},
		{Name: "max_gap", Form: Duration, Required: true},
		{Name: "from", Form: Temperature},
	},
	build: buildLethality,
}

func buildLethality(v Values) (Criterion, error) {
	m, text, err := heatModel(v)
	if err != nil {
		return nil, err
	}
	minutes := v.Number["minutes"]
	return heat{
		model: m, required: lethality.Minutes(minutes), gap: v.Duration["max_gap"], per: 1, text: plain(minutes) + " min " + text,
		what: Measure{Name: "lethality", Unit: "min", Required: &minutes},
	}, nil
}

// heatModel reads the model that heat is added up by, and how it is said.
func heatModel(v Values) (m lethality.Model, text string, err error) {
	ref, z := v.Temperature["reference"], v.Difference["z"]
	text = "at " + ref.String() + ", z " + z.String()
	var from *unit.Temperature
	if f, ok := v.Temperature["from"]; ok {
		from = &f
		text += ", from " + f.String()
	}
	m, err = lethality.New(ref, z, from)
	if err != nil {
		return m, "", &ParameterError{"z", "out-of-range", err.Error()}
	}
	return m, text, nil
}

// heat is a required lethality. A gap, or a moment of which nothing is known,
// earns nothing; what is earned beside it may be enough.
type heat struct {
	model    lethality.Model
	required lethality.Minutes
	gap      time.Duration
	per      lethality.Minutes // what counts as one: a minute, or D
	text     string
	what     Measure
}

// value is minutes as the measure has them.
func (h heat) value(f lethality.Minutes) *float64 { return new(float64(f / h.per)) }

// Scale is the scale of the reference temperature.
func (h heat) Scale() unit.Scale { return h.model.Scale() }

// Harm is Colder: less heat does less.
func (h heat) Harm() unit.Rounding { return unit.Colder }

// Judge decides by the exact integral. A lethality that falls short may have
// been earned where the record is silent: then it is undecided.
func (h heat) Judge(s series.Series) Outcome {
	f := h.model.Exact(s, h.gap)
	if f >= h.required {
		return Outcome{Holds, h.value(f)}
	}
	var out Outcome
	holes := look(s, h.gapAfter())
	if holes.known > 0 {
		out.Value = h.value(f)
	}
	if !holes.any() {
		out.Decision = Fails
	}
	return out
}

// Headroom is z·log10(F/required), or the root of it above a floor.
func (h heat) Headroom(s series.Series) (unit.CelsiusDiff, bool) { return headroom(h, s) }

func (h heat) margin(s series.Series) unit.CelsiusDiff {
	return h.model.Headroom(s, h.gap, h.required)
}

func (h heat) gapAfter() int64 { return h.gap.Microseconds() }

func (h heat) measure() Measure { return h.what }

// otherRules are the rules that published examples use. They never decide.
func (h heat) otherRules(s series.Series) []named {
	out := []named{{rule: "trapezoid"}, {rule: "sum x step"}}
	if look(s, 0).known > 0 {
		out[0].value = h.value(h.model.Trapezoid(s, h.gap))
	}
	if f, ok := h.model.SumStep(s, h.gap); ok {
		out[1].value = h.value(f)
	}
	return out
}

// String returns "at least 3 min at 121.1 C, z 10 K, from 100 C".
func (h heat) String() string { return "at least " + h.text }

// plain returns a number of a policy as it is written: 3, not 3.0.
func plain(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
