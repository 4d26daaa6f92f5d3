package metrology

import (
	"fmt"
	"slices"

	"lastgood/policy/unit"
)

// Check is one accuracy check of an instrument.
type Check struct {
	At     int64 // µs since 1970-01-01T00:00:00Z
	Points []Point
	// Unusable says that there is no as-found value: lost, broken, or adjusted
	// before anybody looked.
	Unusable bool
	// LeftUnknown says that the instrument was adjusted or repaired at this check
	// and how it was left was not recorded, or at some points only. An adjustment
	// moves them all, so that a point without an as-left value has none: what was
	// found there is not how it was left. A check with an as-left value at some
	// points only is such a check whether this is set or not.
	LeftUnknown bool
	// Untrusted says why the check's reference is not trusted; empty means that
	// it is. A check with an untrusted reference is not a check.
	Untrusted string
}

// Judgement is what a check says of its instrument.
type Judgement struct {
	Found, Left Verdict
	Points      []PointJudgement // one for each point of the check
	// MethodTooPoor says that at some point the method is not good enough for the
	// tolerance.
	MethodTooPoor bool
	Reason        string // why not pass, a sentence; empty if both pass
}

// PointJudgement is what one point says.
type PointJudgement struct {
	Found, Left Verdict
	// Error and LeftError are indicated − true in degrees of the reference's
	// scale; unit.Unknown where there is no value.
	Error, LeftError unit.Micro
	// Guard is the guard band w that was applied; 0 for the other rules.
	Guard unit.CelsiusDiff
	// Risk and LeftRisk are the probabilities that what Found and Left conclude is
	// wrong, given this one value; 0 for inconclusive, which concludes nothing.
	Risk, LeftRisk float64
	// MethodTooPoor says that the method is not good enough for the tolerance: not
	// even an error of nothing could pass. Under the simple rule it changes no
	// verdict and says that the uncertainty is larger than the tolerance.
	MethodTooPoor bool
	Reason        string // why not pass, a sentence; empty if both pass
}

// JudgePoint judges one check point by the site's rule.
func JudgePoint(p Point, tolerance unit.Diff, rule Rule) PointJudgement {
	j := PointJudgement{Guard: unit.CelsiusDiff(rule.guard(p.U, p.DoF).Degrees()), MethodTooPoor: rule.tooPoor(tolerance, p.U, p.DoF)}
	j.Error, j.Found, j.Risk = p.verdict(p.FoundError, tolerance, rule)
	j.LeftError, j.Left, j.LeftRisk = p.verdict(p.LeftError, tolerance, rule)
	switch {
	case j.Found == Pass && j.Left == Pass:
	case j.Error == unit.Unknown:
		j.Reason = "no as-found value was taken at this point"
	case j.MethodTooPoor && worst(j.Found, j.Left) != Fail:
		j.Reason = rule.poor(p, tolerance, j.Guard)
	default:
		j.Reason = fmt.Sprintf("the error is %s %s against a tolerance of %s", p.worse(j), p.Reference.Scale, tolerance)
	}
	return j
}

// poor says in a sentence why the method is not good enough.
func (r Rule) poor(p Point, tolerance unit.Diff, guard unit.CelsiusDiff) string {
	if r.Kind == Probability {
		return fmt.Sprintf("the method is not good enough: with a standard uncertainty of %.3g K not even an error of nothing is within %s at a confidence of %g",
			float64(p.U), tolerance, r.confidence())
	}
	return fmt.Sprintf("the method is not good enough: its guard band of %s K is wider than the tolerance of %s",
		nearest(float64(guard)), tolerance)
}

func (p Point) verdict(of func() (unit.Micro, bool), tolerance unit.Diff, rule Rule) (unit.Micro, Verdict, float64) {
	m, ok := of()
	if !ok {
		return m, Inconclusive, 0
	}
	e := unit.Diff{Value: m, Scale: p.Reference.Scale}
	v := rule.judge(e, tolerance, p.U, p.DoF)
	return m, v, v.risk(conform(e, tolerance, p.U, p.DoF))
}

// worse is the error that the reason speaks of: as found, unless only the
// as-left value did not pass.
func (p Point) worse(j PointJudgement) unit.Micro {
	if j.Found == Pass {
		return j.LeftError
	}
	return j.Error
}

// Judge judges the check as found and as left: fail if any point fails, else
// inconclusive if any is, else pass. It does not look at Untrusted, which is no
// property of the instrument.
func (c Check) Judge(tolerance unit.Diff, rule Rule) Judgement {
	j := Judgement{Found: Pass, Left: Pass}
	if len(c.Points) == 0 {
		j.Found, j.Left = Inconclusive, Inconclusive
		j.Reason = "no value was taken at this check"
	}
	for _, p := range c.Points {
		pj := JudgePoint(p, tolerance, rule)
		if p.Left == nil && c.leftUnknown() {
			pj.LeftError, pj.Left, pj.LeftRisk = unit.Unknown, Inconclusive, 0
			if pj.Reason == "" {
				pj.Reason = "it was adjusted or repaired and how it was left was not recorded at this point"
			}
		}
		if j.Reason == "" || pj.Found == Fail && j.Found != Fail { // the first point that fails speaks
			j.Reason = pj.Reason
		}
		j.Found, j.Left = worst(j.Found, pj.Found), worst(j.Left, pj.Left)
		j.MethodTooPoor = j.MethodTooPoor || pj.MethodTooPoor
		j.Points = append(j.Points, pj)
	}
	if c.leftUnknown() {
		j.Left = worst(j.Left, Inconclusive)
		if j.Reason == "" {
			j.Reason = "it was adjusted or repaired and how it was left was not recorded"
		}
	}
	if c.Unusable {
		j.Found = Inconclusive
		j.Reason = "there is no as-found value: the instrument was lost, broken or adjusted first"
		if !c.adjusted() {
			j.Left = Inconclusive
		}
	}
	return j
}

// adjusted reports whether an as-left value was recorded at any point.
func (c Check) adjusted() bool {
	for _, p := range c.Points {
		if p.Left != nil {
			return true
		}
	}
	return false
}

// leftUnknown reports whether it was adjusted and some point has no as-left value.
func (c Check) leftUnknown() bool {
	return c.LeftUnknown || c.adjusted() && slices.ContainsFunc(c.Points, func(p Point) bool { return p.Left == nil })
}
