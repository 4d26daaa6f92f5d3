package rules

import (
	"math"
	"slices"
)

// Facts are what is known of one lot under one limit. What is not known counts
// as the worse.
type Facts struct {
	Verdict           string   // met, indeterminate, missed or unknown
	MissedAsRecorded  bool     // the readings missed the limit before any correction
	NoLastGood        bool     // the instrument never passed a check before it failed
	KillStep          bool     // all of it went through a later step, proven by a good instrument, that controls the hazard
	ProbabilityMissed *float64 // 0 to 1; nil: nothing can be said

	Shipped             bool     // some of the lot, or of what was made of it, has left
	InControl           bool     // some of it is still where the plant can stop it
	ShippedShare        *float64 // of the quantity in doubt, 0 to 1
	Consignees          *int     // how many received it
	HoursToNextShipment *float64 // until some of it is due to leave
	ShelfLifeHours      *float64 // that are left

	Severity       string // minor, moderate, serious or fatal; empty: unknown
	Hazard         string // that the limit controls; empty: unknown
	ReadyToEat     *bool
	Vulnerable     *bool // consumers are vulnerable: infants, the old, the sick
	SupportsGrowth *bool
	Limit, Product string // their names; empty: unknown
	Kind           string // of the limit: at_least, hold, lethality …
	Monitoring     string // discrete, continuous, exception; empty: unknown
}

// The verdicts, as policy/limit writes them.
const (
	met           = "met"
	indeterminate = "indeterminate"
	missed        = "missed"
	unknown       = "unknown" // also any other word that is not known
)

// settled returns f with contradictions resolved towards the worse: a lot that
// missed as recorded is never met by correcting the failed instrument; a
// verdict nobody knows is unknown and no kill step clears it; what reached a
// consignee has shipped; and a number or a word that cannot be is unknown.
func (f Facts) settled() Facts {
	switch f.Verdict {
	case indeterminate, missed, unknown:
	case met:
		if f.MissedAsRecorded {
			f.Verdict = indeterminate
		}
	default:
		f.Verdict, f.KillStep = unknown, false
	}
	f.ProbabilityMissed = within(f.ProbabilityMissed, 1)
	f.ShippedShare = within(f.ShippedShare, 1)
	f.HoursToNextShipment = within(f.HoursToNextShipment, math.MaxFloat64)
	f.ShelfLifeHours = within(f.ShelfLifeHours, math.MaxFloat64)
	if f.Consignees != nil && *f.Consignees < 0 {
		f.Consignees = nil
	}
	f.Shipped = f.Shipped || f.ShippedShare != nil && *f.ShippedShare > 0 || f.Consignees != nil && *f.Consignees > 0
	f.Severity = oneWord(f.Severity, severityWords)
	f.Kind = oneWord(f.Kind, kindWords)
	f.Monitoring = oneWord(f.Monitoring, monitoringWords)
	return f
}

// oneWord returns a word that the rules know, and unknown for any other.
func oneWord(s string, words []string) string {
	if slices.Contains(words, s) {
		return s
	}
	return unknown
}

// within returns v if it is a number from 0 to most, and unknown otherwise.
func within(v *float64, most float64) *float64 {
	if v == nil || math.IsNaN(*v) || *v < 0 || *v > most {
		return nil
	}
	return v
}

// grave says whether the hazard can do serious harm; not known counts as yes.
func (f Facts) grave() bool { return f.Severity != "minor" && f.Severity != "moderate" }

// cleared says whether a later step may have cleared the hazard. A lot that
// missed, as recorded or whatever the error was, is not cleared.
func (f Facts) cleared() bool {
	return f.KillStep && !f.MissedAsRecorded && (f.Verdict == indeterminate || f.Verdict == unknown)
}

// assumed lists what was taken as the worse for want of knowledge.
func (f Facts) assumed() []string {
	if f.Verdict == met {
		return nil
	}
	var out []string
	if f.Severity == unknown {
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
