package growth

import (
	"slices"

	"lastgood/policy/unit"
)

// Published is a secondary model as a source gives it, under a name of our own.
// It holds for its organism in its food; whether that is the plant's is for
// the plant to say.
type Published struct {
	Name             string
	ID               string // of its row in growth_models.csv
	Organism, Matrix string
	Parameters       Parameters
	RateCertain      bool         // the source says whether its rate is in ln or in log10
	From, To         unit.Celsius // the temperatures it was fitted at; both 0 where not known
	Source           string
	Provenance       string // stored-copy: seen in a copy of the source; memory: recalled
	Confidence       string // high, medium
	Note             string
}

// Lookup returns the published model of that name.
func Lookup(name string) (Published, bool) {
	i := slices.IndexFunc(published, func(p Published) bool { return p.Name == name })
	if i < 0 {
		return Published{}, false
	}
	return published[i], true
}

// Names returns the names of the published models, in the order of the table.
func Names() []string {
	out := make([]string, len(published))
	for i, p := range published {
		out[i] = p.Name
	}
	return out
}

// celsius is a temperature of the table.
func celsius(degrees float64) unit.Temperature {
	return unit.Temperature{Value: unit.FromFloat(degrees, unit.Hotter), Scale: unit.CelsiusScale}
}

func squareRoot(rate Unit, b, tmin float64) Parameters {
	return Parameters{Form: SquareRoot, Rate: rate, B: b, Tmin: celsius(tmin)}
}

func ratkowsky(rate Unit, b, tmin, c, tmax float64) Parameters {
	return Parameters{Form: Ratkowsky, Rate: rate, B: b, Tmin: celsius(tmin), C: c, Tmax: celsius(tmax)}
}

func modified(rate Unit, b, tmin, c, tmax float64) Parameters {
	return Parameters{Form: ModifiedRatkowsky, Rate: rate, B: b, Tmin: celsius(tmin), C: c, Tmax: celsius(tmax)}
}

func cardinal(rate Unit, tmin, topt, tmax, muOpt float64) Parameters {
	return Parameters{Form: Cardinal, Rate: rate, Tmin: celsius(tmin), Topt: celsius(topt), Tmax: celsius(tmax), MuOpt: muOpt}
}
