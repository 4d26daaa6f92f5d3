package workflow

import (
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
)

// kitchen is a plant on a hill with four limits.
func kitchen(t *testing.T) *site {
	t.Helper()
	s := newSite(t)
	altitude := 457.2 // 1500 ft
	id, err := s.Plant(s.ctx, t.Name()+" on the hill", "UTC", &altitude)
	s.must(err)
	s.sc.Plant = id
	_, err = s.PutPolicy(s.ctx, s.sc, []byte(`
limits:
  - {limit: cook, kind: at_least, temperature: 160 F}
  - {limit: chill, kind: at_most, temperature: 5 C, applies_to: {locations: [cooler]}}
  - {limit: retort, kind: lethality, reference: 121.1 C, z: 10 K, minutes: 3.0, max_gap: 1m, from: 90 C}
  - {limit: blanch, kind: at_least, temperature: 90 C}
`))
	s.must(err)
	low, high := unit.Micro(-40*unit.PerDegree), unit.Micro(150*unit.PerDegree)
	s.added(s.AddInstruments(s.ctx, s.sc, []instrument.Instrument{
		{Code: "T-1", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree, RangeLow: &low, RangeHigh: &high},
		{Code: "T-F", Unit: unit.FahrenheitScale, Tolerance: 2 * unit.PerDegree},
		{Code: "R-1", Role: instrument.Reference, Unit: unit.CelsiusScale, Tolerance: unit.PerDegree},
		{Code: "R-2", Role: instrument.Reference, Unit: unit.CelsiusScale, Tolerance: unit.PerDegree},
		{Code: "R-3", Role: instrument.Reference, Unit: unit.CelsiusScale, Tolerance: unit.PerDegree}}))
	s.must(s.certify("R-1")) // 0 to 75 °C, until the 28th, midnight: no more
	certificate := instrument.Certificate{Instrument: "R-2", Number: "C-2", IssuedAt: march(1, 0, 0), ValidUntil: march(28, 0, 0).AddDate(1, 0, 0),
		Unit: unit.CelsiusScale, Points: []instrument.CertificatePoint{{At: 0}, {At: 75 * unit.PerDegree}}}
	_, err = s.AddCertificates(s.ctx, s.sc, []instrument.Certificate{certificate})
	s.must(err)
	return s
}

func (s *site) form(code string) CheckForm {
	s.Helper()
	f, err := s.CheckForm(s.ctx, s.sc, code)
	s.must(err)
	return f
}

func kindsOf(f CheckForm) string {
	var words []string
	for _, p := range f.Points {
		words = append(words, string(p.Kind))
	}
	return strings.Join(words, " ")
}

// The points are those that the limits need: ice for a cooler's 5 °C, boiling
// water for nothing below 85 °C, a comparison where neither is near.
func TestFormAsksForThePointsOfTheLimits(t *testing.T) {
	t.Parallel()
	s := kitchen(t)
	if f := s.form("T-1"); kindsOf(f) != "ice boiling" || len(f.Notes) != 1 {
		t.Errorf("read for nothing yet: %s, notes %q", kindsOf(f), f.Notes)
	}
	r := cooked("T-1", march(3, 0, 0), 75, "A")
	s.reads(r)
	f := s.form("T-1")
	if kindsOf(f) != "comparison" || math.Abs(f.Points[0].Expected.Degrees()-71.1111) > 1e-4 { // 160 °F
		t.Errorf("%s %v", kindsOf(f), f.Points)
	}
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "cooler", From: march(2, 12, 0)}}))
	if f = s.form("T-1"); kindsOf(f) != "ice comparison" {
		t.Errorf("%s", kindsOf(f))
	}
	for minute, limit := range []string{"retort", "blanch"} {
		r = cooked("T-1", march(3, 1, minute), 121, "A")
		r.Limit = limit
		s.reads(r)
	}
	f = s.form("T-1")
	if kindsOf(f) != "ice comparison boiling comparison" {
		t.Errorf("%s: 90 °C lies less than 10 K below boiling water at 1500 ft, 121.1 °C more above", kindsOf(f))
	}
	// 98.4548 °C at 1500 ft: testdata/published/metrology/boiling_point.csv BP0150.
	if b := f.Points[2]; math.Abs(b.Expected.Degrees()-98.4548) > 0.001 || cmp.Diff(b.Fields, []string{"pressure_kpa", "found", "left"}) != "" {
		t.Errorf("%+v", b)
	}
	r = cooked("T-F", march(3, 2, 0), 170, "A")
	r.Unit = unit.FahrenheitScale
	s.reads(r)
	if f = s.form("T-F"); kindsOf(f) != "comparison" || f.Points[0].Expected != 160*unit.PerDegree {
		t.Errorf("%+v", f.Points)
	}
}

func TestFormSaysWhenItWasLastGoodThere(t *testing.T) {
	t.Parallel()
	s := kitchen(t)
	s.added(s.AddMountings(s.ctx, s.sc, []instrument.Mounting{{Instrument: "T-1", Location: "cooler", From: march(2, 12, 0)}}))
	s.reads(cooked("T-1", march(3, 0, 0), 75, "A"))
	s.check("T-1", march(4, 0, 0), 0)
	ice := instrument.Check{Instrument: "T-1", PerformedAt: march(9, 0, 0), Points: []instrument.CheckPoint{{Kind: instrument.Ice, Unit: unit.CelsiusScale, Found: micro(0)}}}
	s.record(ice)
	f := s.form("T-1")
	if len(f.Points) != 2 || !f.Points[0].LastGoodAt.Equal(march(9, 0, 0)) || !f.Points[1].LastGoodAt.Equal(march(4, 0, 0)) {
		t.Errorf("%+v", f.Points)
	}
	if f = s.form("T-F"); f.Points[0].LastGoodAt != nil {
		t.Errorf("never checked, and last good on %v", f.Points[0].LastGoodAt)
	}
}

func TestFormNamesTheReferencesThatMayBeUsed(t *testing.T) {
	t.Parallel()
	s := kitchen(t)
	s.reads(cooked("T-1", march(3, 0, 0), 75, "A"))
	type line struct {
		code, certificate string
		reaches           int
		whyNot            string
	}
	got := func() (out []line) {
		for _, r := range s.form("T-1").References {
			out = append(out, line{r.Code, r.Certificate, len(r.Reaches), r.WhyNot})
		}
		return out
	}
	want := []line{{"R-2", "C-2", 1, ""}, {"R-1", "", 0, "no certificate holds now: C-1 is valid until 2025-03-28"},
		{"R-3", "", 0, "it has no certificate"}}
	if diff := cmp.Diff(want, got(), cmp.AllowUnexported(line{})); diff != "" {
		t.Error(diff)
	}
	s.check("R-2", march(5, 0, 0), 3)
	if r := got(); r[0].whyNot == "" && r[0].code == "R-2" {
		t.Errorf("a reference in doubt may be used: %+v", r)
	}
	s.record(adjusted(checkOf("R-2", march(6, 0, 0), 3)))
	if r := got(); r[1].code != "R-2" || r[1].whyNot != "it failed, and its return to use is not signed" {
		t.Errorf("a reference whose return nobody signed may be used: %+v", r)
	}
	s.employ()
	s.returns("R-2")
	if r := got(); r[0].code != "R-2" || r[0].whyNot != "" {
		t.Errorf("a reference that was put back into use must not be used: %+v", r)
	}
}

func TestLabelSaysWhetherItMayBeUsed(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	week := 7
	s.added(s.AddInstruments(s.ctx, s.sc, []instrument.Instrument{{Code: "T-3", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree, CheckEveryDays: &week}}))
	label := func() Label {
		l, err := s.Label(s.ctx, s.sc, "T-3")
		s.must(err)
		return l
	}
	says := func(whyNot string, errors ...LabelError) {
		t.Helper()
		l := label()
		if diff := cmp.Diff(errors, l.Errors); diff != "" || l.WhyNot != whyNot {
			t.Errorf("why not %q, want %q; errors %s", l.WhyNot, whyNot, diff)
		}
	}
	at := func(e float64) []LabelError { return []LabelError{{0, *micro(e)}, {75 * unit.PerDegree, *micro(e)}} }
	says("never checked")
	s.check("T-3", march(10, 0, 0), 0.2)
	says("its check is overdue", at(0.2)...)
	s.check("T-3", march(27, 0, 0), 0.3)
	says("", at(0.3)...)
	s.happens("T-3", march(27, 0, 15), instrument.RemovedFromUse)
	says("taken out of use", at(0.3)...)
	s.happens("T-3", march(27, 0, 30), instrument.ReturnedToUse)
	says("", at(0.3)...)
	s.check("T-3", march(27, 1, 0), 3)
	says("failed its check", at(3)...)
	s.record(adjusted(checkOf("T-3", march(27, 2, 0), 3)))
	says("it failed, and its return to use is not signed", at(0)...)
	s.happens("T-3", march(27, 3, 0), instrument.Intermittent)
	says("a fault that comes and goes was noted", at(0)...)
	s.check("T-3", march(27, 4, 0), 0)
	says("it failed, and its return to use is not signed", at(0)...)
	s.employ()
	s.returns("T-3")
	says("", at(0)...)
	if l := label(); l.VerifiedBy != "tech-2" || !l.CheckedAt.Equal(march(27, 4, 0)) {
		t.Errorf("%+v", l)
	}
}

func TestUnknownInstrumentHasNoPapers(t *testing.T) {
	t.Parallel()
	s := newSite(t)
	_, form := s.CheckForm(s.ctx, s.sc, "T-9")
	_, label := s.Label(s.ctx, s.sc, "T-9")
	for _, err := range []error{form, label} {
		if f, ok := err.(*fault.Error); !ok || f.Rule != "unknown-instrument" {
			t.Errorf("%v", err)
		}
	}
}
