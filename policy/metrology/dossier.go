package metrology

import (
	"fmt"
	"time"

	"lastgood/policy/unit"
)

// dossier is the facts with every check judged and drawn as curves.
type dossier struct {
	Facts
	sides []sides // one for each check
}

// sides is what one check says, as found and as left. A side without evidence
// has no curves and proves nothing.
type sides struct {
	judged          Judgement
	found, left     []curve
	foundOK, leftOK spans // where it clearly passed
}

func newDossier(f Facts) *dossier {
	d := &dossier{Facts: f, sides: make([]sides, len(f.Checks))}
	for i, c := range f.Checks {
		s := &d.sides[i]
		s.judged = c.Judge(f.Tolerance, f.Rule)
		if c.Untrusted != "" {
			continue
		}
		if !c.Unusable && !c.adjustedFirst() {
			s.found, s.foundOK = d.draw(observe(c, func(n int) (*unit.Micro, Verdict) {
				return c.Points[n].Found, s.judged.Points[n].Found
			}))
		}
		s.left, s.leftOK = d.draw(observe(c, func(n int) (*unit.Micro, Verdict) {
			return c.asLeft(n), s.judged.Points[n].Left
		}))
	}
	return d
}

// asLeft is what it indicated at point n as left: as found, where nothing was
// adjusted; nil where nobody knows.
func (c Check) asLeft(n int) *unit.Micro {
	if c.Points[n].Left == nil && !c.leftUnknown() {
		return c.Points[n].Found
	}
	return c.Points[n].Left
}

// draw turns one side of a check into curves, one for each round, and the
// temperatures at which every round passed.
func (d *dossier) draw(obs []observation) ([]curve, spans) {
	var curves []curve
	good := spans{everywhere}
	for _, layer := range layers(obs) {
		curves = append(curves, newCurve(layer, float64(d.Beyond)))
		good = good.and(proven(layer, float64(d.Beyond)))
	}
	if curves == nil {
		return nil, nil
	}
	return curves, good
}

// adjustedFirst reports whether some point has an as-left value and no as-found
// one. What the other points showed as found may then have been after the
// adjustment, so the check has no as-found at all.
func (c Check) adjustedFirst() bool {
	for _, p := range c.Points {
		if p.Found == nil && p.Left != nil {
			return true
		}
	}
	return false
}

// good reports whether check i can be a last good check at all: trusted, with
// an as-found and a known as-left. Where it was good is sides[i].leftOK.
func (d *dossier) good(i int) bool {
	return !d.Checks[i].Unusable && d.sides[i].left != nil
}

// disturbed says why the bracket does not hold from after to until, or nothing.
// A drift or a step leaves the error between what was seen at both ends; a
// fault that comes and goes does not, nor does a change to the instrument
// before which nobody looked.
func (d *dossier) disturbed(after, until int64) string {
	for _, e := range d.Events {
		if e.At <= after || e.At > until {
			continue
		}
		switch e.Kind {
		case Intermittent:
			return fmt.Sprintf("a fault that comes and goes was noted on %s: no two checks bound it", day(e.At))
		case Repaired, Adjusted, Reranged, BatteryChanged:
			if !d.foundBefore(e.At) {
				return fmt.Sprintf("%s on %s without an as-found value", e.Kind.words(), day(e.At))
			}
		}
	}
	for i, c := range d.Checks {
		if c.At <= after || c.At >= until || i == d.Failed {
			continue
		}
		if c.leftUnknown() {
			return fmt.Sprintf("adjusted or repaired on %s and how it was left was not recorded", day(c.At))
		}
		if c.adjusted() && d.sides[i].found == nil {
			return fmt.Sprintf("adjusted on %s without an as-found value that can be trusted", day(c.At))
		}
	}
	return ""
}

// foundBefore reports whether somebody took as-found values at t or within
// AsFoundWithin before.
func (d *dossier) foundBefore(t int64) bool {
	for i, c := range d.Checks {
		if c.At <= t && c.At >= t-AsFoundWithin.Microseconds() && d.sides[i].found != nil {
			return true
		}
	}
	return false
}

func (k EventKind) words() string {
	switch k {
	case Reranged:
		return "re-ranged"
	case BatteryChanged:
		return "battery changed"
	case Intermittent:
		return "a fault that comes and goes"
	}
	return string(k)
}

// day is a time as a sentence shows it.
func day(at int64) string { return time.UnixMicro(at).UTC().Format("2006-01-02 15:04 UTC") }
