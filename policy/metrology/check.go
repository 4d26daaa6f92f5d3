package metrology

import (
	"fmt"

	"lastgood/policy/unit"
)

// Check is one accuracy check of an instrument.
type Check struct {
	At     int64 // µs since 1970-01-01T00:00:00Z
	Points []Point
	// Unusable says that there is no as-found value: lost, broken, or adjusted
	// before anybody looked.
	Unusable bool
	// LeftUnknown says that the instrument was adjusted or repaired at this
	// check and how it was left was not recorded.
	LeftUnknown bool
	// Untrusted says why the check's reference is not trusted; empty means that
	// it is. A check with an untrusted reference is not a check.
	Untrusted string
}

// Judgement is what a check says of its instrument.
type Judgement struct {
	Found, Left Verdict
	Points      []PointJudgement // one for each point of the check
	Reason      string           // why not pass, a sentence; empty if both pass
}

// PointJudgement is what one point says.
type PointJudgement struct {
	Found, Left Verdict
	// Error and LeftError are indicated − true in degrees of the reference's
	// scale; unit.Unknown where there is no value.
	Error, LeftError unit.Micro
	// Guard is the guard band w that was applied; 0 for simple acceptance.
	Guard  unit.CelsiusDiff
	Reason string // why not pass, a sentence; empty if both pass
}

// JudgePoint judges one check point by the site's rule.
func JudgePoint(p Point, tolerance unit.Diff, rule Rule) PointJudgement {
	w := rule.guard(p.U)
	j := PointJudgement{Guard: unit.CelsiusDiff(w.Degrees())}
	j.Error, j.Found = p.verdict(p.FoundError, tolerance, rule)
	j.LeftError, j.Left = p.verdict(p.LeftError, tolerance, rule)
	switch {
	case j.Found == Pass && j.Left == Pass:
	case j.Error == unit.Unknown:
		j.Reason = "no as-found value was taken at this point"
	case ninths(unit.Diff{Value: w, Scale: unit.KelvinScale}) > ninths(tolerance):
		j.Reason = fmt.Sprintf("the method is not good enough: its guard band of %s K is wider than the tolerance of %s",
			w, tolerance)
	default:
		j.Reason = fmt.Sprintf("the error is %s %s against a tolerance of %s", p.worse(j), p.Reference.Scale, tolerance)
	}
	return j
}

func (p Point) verdict(of func() (unit.Micro, bool), tolerance unit.Diff, rule Rule) (unit.Micro, Verdict) {
	e, ok := of()
	if !ok {
		return e, Inconclusive
	}
	return e, rule.judge(unit.Diff{Value: e, Scale: p.Reference.Scale}, tolerance, p.U)
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
		if j.Reason == "" || pj.Found == Fail && j.Found != Fail { // the first point that fails speaks
			j.Reason = pj.Reason
		}
		j.Found, j.Left = worst(j.Found, pj.Found), worst(j.Left, pj.Left)
		j.Points = append(j.Points, pj)
	}
	if c.LeftUnknown {
		j.Left = Inconclusive
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
