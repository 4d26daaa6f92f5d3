package limit

import "lastgood/policy/lethality"

// logReductionKind is heat by what it kills: 7 log at 70 C with D 9 s and z 6.5 K.
var logReductionKind = Kind{
	Name: "log_reduction",
	Parameters: []Parameter{
		{Name: "reference", Form: Temperature, Required: true},
		{Name: "z", Form: Difference, Required: true},
		{Name: "d", Form: Duration, Required: true},
		{Name: "logs", Form: Number, Required: true},
		{Name: "max_gap", Form: Duration, Required: true},
		{Name: "from", Form: Temperature},
	},
	build: buildLogReduction,
}

// buildLogReduction makes a lethality that counts in D instead of in minutes.
//
//	logs = ∫ dt/D(T) = F/D,   D(T) = D·10^((Tref − T)/z)        [log10]
//
//	D     time at Tref that leaves a tenth                  [min]
//	F     lethality at Tref with that z, lethality.Exact    [min]
//	Tref  reference temperature                             [°C or °F]
//	z     temperature change for one decade of D            [K]
//
// Range:    that of the lethality: z from 1 K to 100 K, D > 0, logs > 0.
// Assumes:  log-linear inactivation: no shoulder, no tail, one z.
// Source:   survivors N = N₀·10^(−t/D), the definition of D as equivalents.csv
// has it (rows of kind "F for N0" and "survivors"). Read: second-hand.
// Departs:  nothing. Required minutes are logs·D in whole microseconds, so that
// the time itself meets the limit.
// Checked:  equivalents.csv, log_reduction_test.go.
func buildLogReduction(v Values) (Criterion, error) {
	m, text, err := heatModel(v)
	if err != nil {
		return nil, err
	}
	logs, d := v.Number["logs"], v.Duration["d"]
	const perMinute = 60_000_000
	us := float64(d.Microseconds())
	return heat{
		model: m, required: lethality.Minutes(logs * us / perMinute), gap: v.Duration["max_gap"], per: lethality.Minutes(us / perMinute),
		text: plain(logs) + " log, D " + written(d) + " " + text,
		what: Measure{Name: "log reduction", Unit: "log10", Required: &logs},
	}, nil
}
