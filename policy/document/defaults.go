package document

import (
	"slices"
	"strconv"

	"lastgood/policy/metrology"
)

// Default is a setting that a document does not have, and what stands in its
// place.
type Default struct{ Key, Value string }

// Defaults returns the settings that the document leaves to the program. The
// parts that are rules tell the same of themselves.
func (p *Policy) Defaults() []Default {
	rule := metrology.DefaultRule()
	var out []Default
	for _, d := range []Default{
		{"decision_rule", string(rule.Kind)},
		{"coverage", strconv.FormatFloat(rule.Coverage, 'g', -1, 64)},
		{"onset", Sudden},
		{"severities", "none: every hazard counts as serious"},
		{"beyond_points", strconv.FormatFloat(float64(metrology.DefaultBeyond), 'g', -1, 64) + " K"},
		{"kill_steps", "none: no later step clears a hazard"},
		{"corroboration", "within " + DefaultWithin.String()},
		{"escalation", "holds after " + DefaultEscalation.HoldsAfter.String() + ", then every " + DefaultEscalation.AgainEvery.String()},
		{"overdue_grace", "none: a check is overdue when its day is over"},
	} {
		said := slices.Contains(p.keys, d.Key) || d.Key == "severities" && slices.Contains(p.keys, "hazards")
		if !said {
			out = append(out, d)
		}
	}
	return out
}
