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
	"at_least":      "every T ≥ the limit; the measure is the lowest T",
	"at_most":       "every T ≤ the limit, or the time above it within what is allowed; the measure is the highest T",
	"hold":          "longest run of consecutive readings within the bound, from its first to its last reading ≥ the time required",
	"dwell_table":   "for one row of the table: longest run of consecutive readings at or above its temperature, from its first to its last reading ≥ its time; no summing over rows; the measure is the largest such share",
	"lethality":     "∫ 10^((T − Tref)/z) dt over intervals no longer than max_gap, T linear between readings ≥ the minutes required",
	"log_reduction": "∫ 10^((T − Tref)/z) dt / D over intervals no longer than max_gap, T linear between readings ≥ the logs required",
	"cooling":       "every stage: from the last reading at or above its upper temperature before the first below it, to the first below its lower temperature after which none is at or above it again ≤ its time; over all paths inside the bracket the earliest start and the latest end; the measure is the largest share of a stage's time",
	"exposure":      "every band: Σ of the intervals with a reading at or above its lower temperature at either end ≤ its time; what is hotter than a band counts in it too; the measure is the largest share of a band's time",
	"growth":        "∫ μ(T) dt over intervals no longer than max_gap, μ the model's rate, T linear between readings, no lag ≤ the logs allowed; inside the bracket the highest rate between its two ends at every moment",
}
