package limit

import (
	"fmt"
	"time"

	"lastgood/policy/growth"
	"lastgood/policy/series"
	"lastgood/policy/unit"
)

// growthKind is growth predicted by a model: at most 1 log10 in a cold store.
var growthKind = Kind{
	Name: "growth",
	Parameters: []Parameter{
		{Name: "model.form", Form: Word, Words: []string{string(growth.SquareRoot), string(growth.Ratkowsky), string(growth.ModifiedRatkowsky), string(growth.Cardinal)}},
		{Name: "model.named", Form: Word, Words: growth.Names()},
		{Name: "model.rate", Form: Word, Words: []string{string(growth.LnPerHour), string(growth.Log10PerHour)}},
		{Name: "model.b", Form: Number},
		{Name: "model.tmin", Form: Temperature},
		{Name: "model.c", Form: Number},
		{Name: "model.topt", Form: Temperature},
		{Name: "model.tmax", Form: Temperature},
		{Name: "model.mu_opt", Form: Number},
		{Name: "logs", Form: Number, Required: true},
		{Name: "max_gap", Form: Duration, Required: true},
	},
	build: buildGrowth,
}

// grown is a predicted growth that must not be exceeded.
//
//	y = ∫ μ(T(t)) dt ≤ logs        [log10]
//
//	μ  growth rate of the model at a temperature     [log10 or ln per hour]
//	T  temperature, linear between readings          [degrees of the scale]
//
// Range:    holds if y ≤ logs, but for a relative 1e-12 of float noise.
// Assumes:  what policy/growth assumes: no lag, no plateau, and the organism and
// food that the model was fitted for.
// Source:   policy/growth, where each form and each published model has its own.
// Departs:  intervals longer than max_gap and those with an unknown end are not
// counted; they leave the limit undecided unless it has already failed. Over a
// bracket of errors every moment takes the highest (for the best the lowest)
// rate between its two ends: growth is not fastest at the hot end above the
// optimum.
// Checked:  growth_models.csv and growth_predictions.csv in policy/growth; by
// hand, growth_test.go.
type grown struct {
	model   growth.Model
	tmin    unit.Temperature
	allowed growth.Logs
	gap     time.Duration
	text    string
	source  source
}

// Scale is the scale of Tmin.
func (g grown) Scale() unit.Scale { return g.model.Scale() }

// Harm is Hotter: below the optimum, where limits are, it means more growth.
func (g grown) Harm() unit.Rounding { return unit.Hotter }

// Judge decides by the integral along the readings.
func (g grown) Judge(s series.Series) Outcome {
	y, covered := g.model.Increase(s, g.gap)
	return g.outcome(s, y, covered)
}

// within judges the most and the least growth between two series.
func (g grown) within(cold, hot series.Series) (worst, best Outcome) {
	most, covered := g.model.WithinWorst(cold, hot, g.gap)
	least, _ := g.model.WithinBest(cold, hot, g.gap)
	return g.outcome(hot, most, covered), g.outcome(cold, least, covered)
}

func (g grown) outcome(s series.Series, y growth.Logs, covered time.Duration) Outcome {
	h := look(s, g.gapAfter())
	var out Outcome
	if h.known > 0 && h.unknown == 0 {
		out.Value = new(float64(y))
	}
	switch {
	case y.Exceeds(g.allowed):
		out.Decision = Fails
	case !h.any() && (covered > 0 || g.dormant(s)):
		// One reading with no time around it says nothing of how long the product
		// was so warm.
		out.Decision = Holds
	}
	return out
}

// dormant says whether no reading is above Tmin.
func (g grown) dormant(s series.Series) bool {
	_, hot, ok := ends(s.Samples)
	return ok && hot <= g.tmin.Value
}

// Headroom is the smallest shift to hotter with which s first fails. Hotter
// still it may hold again, above the optimum: that is no margin.
func (g grown) Headroom(s series.Series) (unit.CelsiusDiff, bool) { return headroom(g, s) }

func (g grown) margin(s series.Series) unit.CelsiusDiff {
	return g.model.Headroom(s, g.gap, g.allowed)
}

func (g grown) gapAfter() int64 { return g.gap.Microseconds() }

func (g grown) measure() Measure {
	return Measure{Name: "predicted growth", Unit: "log10", Required: new(float64(g.allowed))}
}

func (g grown) otherRules(series.Series) []named { return nil }

// tell says whose model it is, and where the record goes beyond it.
func (g grown) tell(s series.Series) []string {
	out := g.source.sentences
	if _, hot, ok := ends(s.Samples); ok && g.source.fitted && unit.ToCelsius(hot, s.Scale) > g.source.to {
		out = append(out[:len(out):len(out)], fmt.Sprintf("the record goes up to %v C; the model was fitted up to %v C", float64(unit.ToCelsius(hot, s.Scale)), float64(g.source.to)))
	}
	return out
}

// Temperatures returns where growth begins.
func (g grown) Temperatures() []unit.Celsius { return []unit.Celsius{g.tmin.Celsius()} }

// Span returns the indicated temperatures at which an error can hide a miss: as
// far around the range of growth as an error reaches.
func (g grown) Span() (lo, hi unit.Celsius) {
	lo, hi = g.model.Range()
	return lo - nearBy, min(hi+nearBy, unit.MaxDegrees)
}

// String returns "at most 1 log10 of growth, square_root with b 0.023, tmin -1.5 C".
func (g grown) String() string {
	return "at most " + plain(float64(g.allowed)) + " log10 of growth, " + g.text
}
