package workflow

import (
	"testing"
	"time"

	"lastgood/workflow/lot"
)

// hourly has a cook that is measured in one lot now and then.
const hourly = `
limits:
  - {limit: cook, kind: at_least, temperature: 71 C, hazard: salmonella, monitoring: discrete, applies_to: {products: [roast]}}
severities: {salmonella: serious}
`

func (s *site) madeAt(code, product string, at time.Time) {
	s.Helper()
	s.added(s.AddLots(s.ctx, s.sc, []lot.Lot{{Code: code, Product: product, MadeAt: &at, Quantity: kg("100")}}))
}

// TestLotMadeBetweenReadingsIsHeldWithThem: a lot that no reading names is held
// when the thermometer fails, and one that is registered later makes the
// deviation due and is held by the next trace.
func TestLotMadeBetweenReadingsIsHeldWithThem(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.adopts(hourly)
	s.reads(cooked("T-2", march(3, 6, 0), 80, "good-1"), cooked("T-1", march(3, 7, 0), 72, "warm"), cooked("T-2", march(3, 9, 0), 80, "good-2"))
	s.madeAt("silent", "roast", march(3, 8, 0))
	s.madeAt("another-product", "soup", march(3, 8, 0))
	s.madeAt("before-all", "roast", march(3, 5, 0))
	d := s.fails("T-1", march(5, 6, 0))
	s.holds(d, "before-all", "silent", "warm") // held wide: containment reads no other instrument's record
	run := s.trace(d)
	verdicts := map[string]string{}
	for _, a := range run.Assessments {
		verdicts[a.Lot] = string(a.Result.Verdict) + " " + a.Via
	}
	// Before "before-all" nothing was read at all: no reading vouches for it.
	// 72 °C by a thermometer that read up to 3 °C too high may have been 69 °C.
	if len(verdicts) != 3 || verdicts["silent"] != "indeterminate between" || verdicts["warm"] != "indeterminate reading" ||
		verdicts["before-all"] != "unknown between" {
		t.Errorf("assessed %v", verdicts)
	}
	s.is(d, Detected, false)
	s.madeAt("elsewhere", "soup", march(3, 8, 30))
	s.is(d, Detected, false)
	s.madeAt("late", "roast", march(3, 8, 30))
	s.is(d, Detected, true)
	s.trace(d)
	s.holds(d, "before-all", "late", "silent", "warm")
}

// TestLotWithoutAnyReadingIsUnknown: made under the limit in the window, and no
// reading stands around it.
func TestLotWithoutAnyReadingIsUnknown(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	s.adopts(hourly)
	s.reads(cooked("T-1", march(2, 7, 0), 72, "served-once"))
	s.check("T-1", march(2, 8, 0), 0)
	s.madeAt("silent", "roast", march(3, 8, 0))
	d := s.fails("T-1", march(5, 6, 0))
	run := s.trace(d)
	if len(run.Assessments) != 1 || run.Assessments[0].Lot != "silent" || run.Assessments[0].Result.Verdict != "unknown" {
		t.Errorf("assessed %+v", run.Assessments)
	}
	s.holds(d, "silent")
}
