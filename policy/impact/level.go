package impact

import "strings"

// rule is one line of the table of levels.
type rule struct {
	id       string
	level    int
	sentence string
	when     func(Facts) bool
}

// levels is the table, read from the top: the first rule that matches gives the
// level. A kill step that is still to come clears nothing; one that all of the
// lot has gone through may.
var levels = []rule{
	{"kill-step", 2, "the limit may have been missed, and all of the product went through a later step that controls the hazard, proven by a good instrument",
		func(f Facts) bool {
			return f.KillStep && !f.MissedAsRecorded && (f.Verdict == indeterminate || f.Verdict == unknown)
		}},
	{"shipped-missed", 5, "product has shipped that missed its limit, or of which nothing can be said, and the hazard is serious or fatal",
		func(f Facts) bool {
			return f.ShippedAny && (f.Verdict == missed || f.Verdict == unknown) && f.grave()
		}},
	{"shipped-indeterminate", 4, "product has shipped that may have missed its limit, and the hazard is serious or fatal",
		func(f Facts) bool { return f.ShippedAny && f.Verdict == indeterminate && f.grave() }},
	{"held-missed-exposed", 4, "product in the plant missed its limit, and it is eaten without a further cook or by vulnerable people",
		func(f Facts) bool {
			return f.InControlAny && f.Verdict == missed && (yes(f.ReadyToEat) || yes(f.Vulnerable))
		}},
	{"held-doubtful", 3, "product in the plant may have missed its limit, or nothing can be said of it, and the hazard is serious or fatal",
		func(f Facts) bool {
			return f.InControlAny && (f.Verdict == indeterminate || f.Verdict == unknown) && f.grave()
		}},
	{"met-after-correction", 1, "the limit was met after correction",
		func(f Facts) bool { return f.Verdict == met }},
}

// noRule is what applies where the table is silent: whatever nobody thought of
// is looked at by more people, not by fewer.
var noRule = rule{"no-rule", 4, "no rule of the table matches, and what no rule covers is level 4", nil}

// level returns the level of f, the rule that gave it and the reason.
func level(f Facts) (int, string, string) {
	r := noRule
	for _, line := range levels {
		if line.when(f) {
			r = line
			break
		}
	}
	n, reason := r.level, append([]string{r.sentence}, f.assumed()...)
	if f.NoLastGood && f.Verdict != met && n < 5 {
		n++
		reason = append(reason, "one level higher because the instrument has no good check to reach back to")
	}
	return n, r.id, strings.Join(reason, "; ")
}

// grave says whether the hazard can do serious harm.
func (f Facts) grave() bool { return f.Severity != Minor && f.Severity != Moderate }

// yes reads an attribute; not known counts as yes.
func yes(b *bool) bool { return b == nil || *b }

// assumed lists what was taken as the worse for want of knowledge.
func (f Facts) assumed() []string {
	if f.Verdict == met {
		return nil
	}
	var out []string
	if _, known := severities[f.Severity]; !known {
		out = append(out, "the severity is not known and counts as serious")
	}
	if f.ReadyToEat == nil {
		out = append(out, "whether it is ready to eat is not known and counts as yes")
	}
	if f.Vulnerable == nil {
		out = append(out, "who eats it is not known and counts as vulnerable")
	}
	if f.MissedAsRecorded {
		out = append(out, "it missed the limit as recorded, which is a deviation of its own")
	}
	return out
}
