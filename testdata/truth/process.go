package truth

import (
	"fmt"
	"math"
	"math/rand/v2"

	"lastgood/policy/document"
	"lastgood/policy/limit"
)

// process is a step of a made-up plant: its limit and how its lots run.
type process struct {
	name   string
	limit  string // as a policy writes it, without its name
	points []float64
	every  float64 // time between readings [s]
	lasts  float64 // [s]
	// run returns the true temperature of a lot over time [s]: the lot's own
	// margin m is about the degrees that it has to spare, less than 0 if it
	// misses.
	run func(r *rand.Rand, m float64) func(s float64) float64
}

func (p process) mid() float64 { return (p.points[0] + p.points[len(p.points)-1]) / 2 }

// parsed is the limit as the product reads it from a policy.
func (p process) parsed() (limit.Limit, error) {
	policy, problems := document.Parse(fmt.Appendf(nil, "limits:\n  - {limit: %s, %s}\n", p.name, p.limit))
	if len(problems) > 0 {
		return limit.Limit{}, fmt.Errorf("%s: %s", p.name, problems[0])
	}
	return policy.Limits[0], nil
}

// flat is a temperature held, with a slow swing of a few tenths.
func flat(r *rand.Rand, at float64) func(float64) float64 {
	phase, swing := r.Float64()*2*math.Pi, 0.2*r.Float64()
	return func(s float64) float64 { return at + swing*math.Sin(phase+s/600) }
}

// processes are one for each kind of limit. The figures of the limits only show
// the kinds; they are invented, as the lots are.
var processes = []process{
	{
		name: "at_least", limit: "kind: at_least, temperature: 74 C", points: []float64{60, 85}, every: 20, lasts: 200,
		run: func(r *rand.Rand, m float64) func(float64) float64 { return flat(r, 74.2+m) },
	},
	{
		name: "at_most", limit: "kind: at_most, temperature: 5 C, max_gap: 30m", points: []float64{0, 20}, every: 600, lasts: 20_000,
		run: func(r *rand.Rand, m float64) func(float64) float64 { return flat(r, 4.8-m) },
	},
	{
		name: "at_most_allow", limit: "kind: at_most, temperature: 5 C, allow: {above: 5 C, total: 30m}, max_gap: 30m", points: []float64{0, 20}, every: 300, lasts: 20_000,
		run: func(r *rand.Rand, m float64) func(float64) float64 {
			opened := 2000 + 10_000*r.Float64()
			return func(s float64) float64 { return 4.5 - m + 3*math.Exp(-max(s-opened, 0)/900)*step(s-opened) }
		},
	},
	{
		name: "hold", limit: "kind: hold, at_least: 72 C, for: 60s, max_gap: 5s", points: []float64{60, 80}, every: 2, lasts: 110,
		run: func(r *rand.Rand, m float64) func(float64) float64 {
			top := flat(r, 72.3+m)
			return func(s float64) float64 { return top(s) - max(0, 20-s)/2 - max(0, s-90)/2 }
		},
	},
	{
		name: "dwell_table", limit: "kind: dwell_table, table: [[58 C, 30m], [60 C, 12m], [62 C, 5m], [64 C, 2m]], max_gap: 2m", points: []float64{50, 70}, every: 30, lasts: 1500,
		run: func(r *rand.Rand, m float64) func(float64) float64 {
			top := flat(r, 60.5+m)
			return func(s float64) float64 { return top(s) - max(0, 300-s)/30 }
		},
	},
	{
		name: "lethality", limit: "kind: lethality, reference: 121.1 C, z: 10 K, minutes: 3, max_gap: 1m, from: 100 C", points: []float64{100, 125}, every: 10, lasts: 600,
		run: func(r *rand.Rand, m float64) func(float64) float64 {
			top := flat(r, 119.8+m)
			return func(s float64) float64 { return top(s) - max(0, 120-s)/6 - max(0, s-480)/6 }
		},
	},
	{
		name: "log_reduction", limit: "kind: log_reduction, reference: 70 C, z: 6.5 K, d: 9s, logs: 7, max_gap: 1m", points: []float64{55, 80}, every: 5, lasts: 200,
		run: func(r *rand.Rand, m float64) func(float64) float64 {
			top := flat(r, 68.7+m)
			return func(s float64) float64 { return top(s) - max(0, 60-s)/6 }
		},
	},
	{
		name: "cooling", limit: "kind: cooling, stages: [[57 C, 21 C, 2h], [21 C, 5 C, 4h]], max_gap: 30m", points: []float64{0, 30, 65}, every: 120, lasts: 30_000,
		run: func(r *rand.Rand, m float64) func(float64) float64 {
			// From 66 °C into air of 1 °C: 57 to 21 °C takes 1.03 time constants
			// and 21 to 5 °C 1.61.
			constant := 6990 * math.Exp(-m*0.05)
			return func(s float64) float64 { return 1 + 65*math.Exp(-s/constant) }
		},
	},
	{
		name: "exposure", limit: "kind: exposure, bands: [[10 C, 21.1 C, 5h], [21.1 C, 60 C, 2h]], max_gap: 30m", points: []float64{0, 30}, every: 600, lasts: 30_000,
		run: func(r *rand.Rand, m float64) func(float64) float64 {
			return func(s float64) float64 { return 11.3 - m - 5*math.Cos(s*2*math.Pi/32_000) }
		},
	},
	{
		name: "growth", limit: "kind: growth, model: {form: square_root, b: 0.023, tmin: -1.5 C, rate: ln_per_hour}, logs: 1.0, max_gap: 1h", points: []float64{0, 25}, every: 600, lasts: 86_400,
		run: func(r *rand.Rand, m float64) func(float64) float64 { return flat(r, 11.8-m) },
	},
}

func step(x float64) float64 {
	if x < 0 {
		return 0
	}
	return 1
}
