package limit

// Formulas returns, in plain signs, how a verdict under the kind of limit of
// that name is computed from the readings: the line that every kind shares and
// the kind's own. The cards beside the code say where each comes from.
func Formulas(kind string) []string {
	own, ok := formulas[kind]
	if !ok {
		return nil
	}
	return []string{
		"T = R − e: corrected temperature = reading − error, in degrees of the limit's scale, rounded to 1e-6 towards harm",
		own,
		"met if it holds with the worst e of every reading's bracket, missed if it fails with the best, indeterminate between, unknown where the record does not decide; missed as recorded is never met",
	}
}

var formulas = map[string]string{
	"at_least":  "every T ≥ the limit; the measure is the lowest T",
	"at_most":   "every T ≤ the limit, or the time above it within what is allowed; the measure is the highest T",
	"hold":      "longest run of consecutive readings within the bound, from its first to its last reading ≥ the time required",
	"lethality": "∫ 10^((T − Tref)/z) dt over intervals no longer than max_gap, T linear between readings ≥ the minutes required",
}
