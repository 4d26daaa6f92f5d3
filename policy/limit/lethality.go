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
	ref, z := v.Temperature["reference"], v.Difference["z"]
	text := " min at " + ref.String() + ", z " + z.String()
	var from *unit.Temperature
	if f, ok := v.Temperature["from"]; ok {
		from = &f
		text += ", from " + f.String()
	}
	m, err := lethality.New(ref, z, from)
	if err != nil {
		return nil, &ParameterError{"z", "out-of-range", err.Error()}
	}
	return heat{m, lethality.Minutes(v.Number["minutes"]), v.Duration["max_gap"], text}, nil
}

// heat is a required lethality. A gap, or a moment of which nothing is known,
// earns nothing; what is earned beside it may be enough.
type heat struct {
	model    lethality.Model
	required lethality.Minutes
	gap      time.Duration
	text     string
}

// Scale is the scale of the reference temperature.
func (h heat) Scale() unit.Scale { return h.model.Scale() }

// Harm is Colder: less heat does less.
func (h heat) Harm() unit.Rounding { return unit.Colder }

// Judge decides by the exact integral. A lethality that falls short may have
// been earned where the record is silent: then it is undecided.
func (h heat) Judge(s series.Series) Outcome {
	f := h.model.Exact(s, h.gap)
	holes := look(s, h.gapAfter())
	var out Outcome
	if holes.known > 0 {
		out.Value = new(float64(f))
	}
	switch {
	case f >= h.required:
		out.Decision = Holds
	case !holes.any():
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

func (h heat) measure() Measure {
	return Measure{Name: "lethality", Unit: "min", Required: new(float64(h.required))}
}

// otherRules are the rules that published examples use. They never decide.
func (h heat) otherRules(s series.Series) []named {
	out := []named{{"trapezoid", nil}, {"sum x step", nil}}
	if look(s, 0).known > 0 {
		out[0].value = new(float64(h.model.Trapezoid(s, h.gap)))
	}
	if f, ok := h.model.SumStep(s, h.gap); ok {
		out[1].value = new(float64(f))
	}
	return out
}

// String returns "at least 3 min at 121.1 C, z 10 K, from 100 C".
func (h heat) String() string {
	return "at least " + strconv.FormatFloat(float64(h.required), 'f', -1, 64) + h.text
}
