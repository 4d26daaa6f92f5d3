package limit

import (
	"errors"
	"slices"
	"strings"

	"lastgood/policy/growth"
	"lastgood/policy/unit"
)

// growthNeeds are the parameters of the forms of a growth model.
var growthNeeds = map[growth.Form][]string{
	growth.SquareRoot:        {"b", "tmin"},
	growth.Ratkowsky:         {"b", "tmin", "c", "tmax"},
	growth.ModifiedRatkowsky: {"b", "tmin", "c", "tmax"},
	growth.Cardinal:          {"tmin", "topt", "tmax", "mu_opt"},
}

// growthShape are all parameters that give a model its shape.
var growthShape = []string{"b", "tmin", "c", "topt", "tmax", "mu_opt"}

// source is what is to be said of a model besides its numbers.
type source struct {
	sentences []string
	fitted    bool // whether it is known up to which temperature it was fitted
	to        unit.Celsius
}

func buildGrowth(v Values) (Criterion, error) {
	form, hasForm := v.Word["model.form"]
	name, hasName := v.Word["model.named"]
	g := grown{allowed: growth.Logs(v.Number["logs"]), gap: v.Duration["max_gap"]}
	var p growth.Parameters
	var err error
	switch {
	case hasForm && hasName:
		return nil, &ParameterError{"model.named", "too-many-parameters", "a model has form or named, not both"}
	case hasForm:
		p, g.text, g.source, err = ownModel(growth.Form(form), v)
	case hasName:
		p, g.text, g.source, err = publishedModel(name, v)
	default:
		return nil, &ParameterError{"model.form", "missing-parameter", "growth needs model.form, or model.named for a published one"}
	}
	if err != nil {
		return nil, err
	}
	g.tmin = p.Tmin
	g.model, err = growth.New(p)
	var fault *growth.ParameterError
	if errors.As(err, &fault) {
		return nil, &ParameterError{"model." + fault.Parameter, "out-of-range", fault.Detail}
	}
	return g, err
}

// ownModel reads a model that the plant writes out.
//
// A square root model may leave out what its rate counts. It is then read in
// log10, which predicts 2.3 times the growth of ln: a record that passes so
// passes either way.
func ownModel(form growth.Form, v Values) (p growth.Parameters, text string, from source, err error) {
	needs := growthNeeds[form]
	var parts []string
	for _, name := range growthShape {
		written, given := shapeValue(v, name)
		switch needed := slices.Contains(needs, name); {
		case needed && !given:
			return p, "", from, &ParameterError{"model." + name, "missing-parameter", "a model of form " + string(form) + " needs " + strings.Join(needs, ", ")}
		case given && !needed:
			return p, "", from, &ParameterError{"model." + name, "not-supported", "a model of form " + string(form) + " has " + strings.Join(needs, ", ") + " and no " + name}
		case given:
			parts = append(parts, name+" "+written)
		}
	}
	text = string(form) + " with " + strings.Join(parts, ", ")
	rate, stated := v.Word["model.rate"]
	switch {
	case stated:
		text += ", " + rate
	case form == growth.SquareRoot:
		rate = string(growth.Log10PerHour)
		text += ", its rate taken as log10_per_hour"
		from.sentences = []string{"the policy does not say whether the model's rate is in ln or in log10: taken as log10 per hour, which predicts more growth"}
	default:
		return p, "", from, &ParameterError{"model.rate", "missing-parameter", "a model of form " + string(form) + " needs rate: ln_per_hour or log10_per_hour"}
	}
	return growth.Parameters{
		Form: form, Rate: growth.Unit(rate), B: v.Number["model.b"], C: v.Number["model.c"], MuOpt: v.Number["model.mu_opt"],
		Tmin: v.Temperature["model.tmin"], Topt: v.Temperature["model.topt"], Tmax: v.Temperature["model.tmax"],
	}, text, from, nil
}

// shapeValue is one parameter of a model as it is written, and whether it is.
func shapeValue(v Values, name string) (string, bool) {
	if t, ok := v.Temperature["model."+name]; ok {
		return t.String(), true
	}
	n, ok := v.Number["model."+name]
	return plain(n), ok
}

// publishedModel looks a model up. Where its source does not say what its rate
// counts, nobody here guesses: the plant must confirm and state it.
func publishedModel(name string, v Values) (p growth.Parameters, text string, from source, err error) {
	found, _ := growth.Lookup(name) // the word was checked
	for _, s := range growthShape {
		if _, given := shapeValue(v, s); given {
			return p, "", from, &ParameterError{"model." + s, "too-many-parameters", "the model " + name + " has its own " + s}
		}
	}
	rate, stated := v.Word["model.rate"]
	switch {
	case !found.RateCertain && !stated:
		return p, "", from, &ParameterError{"model.rate", "missing-parameter", "the source of " + name + " does not say whether its rate is in ln or in log10: confirm it there and write rate: ln_per_hour or log10_per_hour"}
	case found.RateCertain && stated && rate != string(found.Parameters.Rate):
		return p, "", from, &ParameterError{"model.rate", "not-supported", "the rate of " + name + " is published, " + string(found.Parameters.Rate) + ": leave rate out"}
	}
	text = name + " (" + found.Organism + ", " + found.Matrix + ")"
	if found.Provenance == "memory" {
		text += ", its numbers from memory"
	}
	p = found.Parameters
	if !found.RateCertain {
		p.Rate = growth.Unit(rate)
		text += ", " + rate + " as the plant states"
	}
	told := "model " + name + ": " + found.Source + "; read: " + found.Provenance + ", confidence " + found.Confidence
	if found.Note != "" {
		told += "; " + found.Note
	}
	return p, text, source{[]string{told}, found.From != found.To, found.To}, nil
}
