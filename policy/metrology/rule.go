package metrology

import (
	"lastgood/policy/unit"
)

// Verdict says whether an instrument kept its tolerance at a check.
type Verdict string

// The verdicts. Inconclusive is not a pass: the check opens a deviation as a
// failure does, until a repeat settles it.
const (
	Pass         Verdict = "pass"
	Fail         Verdict = "fail"
	Inconclusive Verdict = "inconclusive"
)

// RuleKind is how the uncertainty of the comparison enters the verdict.
type RuleKind string

// The kinds of decision rule.
const (
	// Simple compares the error with the tolerance and leaves the uncertainty
	// aside, as regulators' windows of ±1 °C and ±2 °F are normally applied
	// (common practice).
	Simple RuleKind = "simple"
	// Guarded asks for the tolerance less a guard band before it says pass, and
	// for the tolerance plus the guard band before it says fail.
	Guarded RuleKind = "guarded"
	// Probability asks how probable it is that the error lies within the
	// tolerance: pass from Confidence upward; fail where it lies beyond with as
	// much, and so within with 1 − Confidence at most.
	Probability RuleKind = "probability"
)

// Rule is a site's decision rule. The guard band is w = Ratio·U, where U is the
// expanded uncertainty of the error: Coverage·u, or Student's t for few repeats.
type Rule struct {
	Kind     RuleKind
	Ratio    float64
	Coverage float64
	// Confidence is what Probability asks for, above ½ and below 1; 0 stands for
	// 0.95.
	Confidence float64
}

// DefaultRule is simple acceptance, with an expanded uncertainty of k = 2 where
// one is needed and a guard band of one U if the site turns to Guarded.
func DefaultRule() Rule { return Rule{Kind: Simple, Ratio: 1, Coverage: 2} }

// coverage is k; a rule that states none has the usual 2.
func (r Rule) coverage() float64 {
	if r.Coverage == 0 {
		return 2
	}
	return r.Coverage
}

// guard is the guard band w in millionths of a kelvin. It is rounded up, so
// that rounding can turn a pass or a fail into inconclusive and never the other
// way.
func (r Rule) guard(u unit.CelsiusDiff, dof float64) unit.Micro {
	if r.Kind != Guarded {
		return 0
	}
	ratio := r.Ratio
	if ratio == 0 {
		ratio = 1 // a guarded rule that forgot its ratio is not a simple one
	}
	return unit.FromComputed(ratio*float64(r.Expanded(u, dof)), unit.Hotter)
}

// tooPoor reports whether the method is not good enough for the tolerance:
// whether not even an error of nothing could pass. A simple rule lets it pass
// all the same; there it says that the uncertainty is larger than the tolerance.
func (r Rule) tooPoor(tolerance unit.Diff, u unit.CelsiusDiff, dof float64) bool {
	switch r.Kind {
	case Probability:
		return r.weigh(unit.Diff{Scale: tolerance.Scale}, tolerance, u, dof) != Pass
	case Guarded:
		return ninths(unit.Diff{Value: r.guard(u, dof), Scale: unit.KelvinScale}) > ninths(tolerance)
	}
	w := unit.FromComputed(float64(r.Expanded(u, dof)), unit.Hotter)
	return ninths(unit.Diff{Value: w, Scale: unit.KelvinScale}) > ninths(tolerance)
}

// judge applies the rule to one error, by its size or by the probability of
// conformity (weigh).
//
//	pass          |e| ≤ T − w
//	fail          |e| > T + w
//	inconclusive  otherwise
//
//	e  error, indicated − true          [degrees of its scale]
//	T  tolerance                        [degrees of its scale]
//	w  guard band, 0 for simple acceptance [K]
//
// Range:   any error; T ≥ 0, w ≥ 0. With w > T nothing can pass: the method is
// not good enough for the tolerance.
// Assumes: the tolerance is the same on both sides.
// Source:  ILAC-G8:09/2019, 4.2.1 and 4.2.3, its two conditional zones merged.
// Read:    second-hand, through published/metrology/conformity_decision.csv.
// Departs: the bound itself counts as pass, beyond it as fail.
// Checked: testdata/published/metrology/conformity_decision.csv
func (r Rule) judge(e, tolerance unit.Diff, u unit.CelsiusDiff, dof float64) Verdict {
	if r.Kind == Probability {
		return r.weigh(e, tolerance, u, dof)
	}
	w := ninths(unit.Diff{Value: r.guard(u, dof), Scale: unit.KelvinScale})
	size, limit := abs(ninths(e)), ninths(tolerance)
	switch {
	case size <= limit-w:
		return Pass
	case size > limit+w:
		return Fail
	}
	return Inconclusive
}

// ninths is a difference in ninths of a millionth of a kelvin, the largest unit
// in which differences of both scales are whole: 1 °F = 5/9 K. It makes 3.6 °F
// against 2 °C an exact comparison.
func ninths(d unit.Diff) int64 {
	if d.Scale == unit.FahrenheitScale {
		return 5 * int64(d.Value)
	}
	return 9 * int64(d.Value)
}

func abs(n int64) int64 {
	if n < 0 {
		return -n
	}
	return n
}

// worst is the overall verdict of several: fail if any fails, else inconclusive
// if any is, else pass.
func worst(a, b Verdict) Verdict {
	switch {
	case a == Fail || b == Fail:
		return Fail
	case a == Inconclusive || b == Inconclusive:
		return Inconclusive
	}
	return Pass
}
