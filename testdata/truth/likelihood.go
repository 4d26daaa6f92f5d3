package truth

import (
	"slices"

	"lastgood/policy/limit"
)

// likelihood is the probability of a miss under the model by which the
// thermometer really went wrong.
func likelihood(r limit.Result, o Onset) *float64 {
	i := slices.IndexFunc(r.Probabilities, func(l limit.Likelihood) bool { return l.Model == string(o) })
	if i < 0 {
		return nil
	}
	return r.Probabilities[i].Missed
}
