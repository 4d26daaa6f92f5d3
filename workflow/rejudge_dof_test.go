package workflow

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// history returns what is known of an instrument.
func (s *site) history(code string) (h instrument.History) {
	s.Helper()
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) error {
		known, err := instrument.Known(s.ctx, tx)
		if err != nil {
			return err
		}
		h, err = instrument.LoadHistory(s.ctx, tx, known[code])
		return err
	}))
	return h
}

// One line through four invented points leaves two degrees of freedom. Whether
// that certificate is known before the check or after it, the check is judged with
// the same uncertainty, and so says the same.
func TestLateFittedCertificateKeepsItsDegreesOfFreedom(t *testing.T) {
	t.Parallel()
	svc, _ := openService(t)
	certificate := []instrument.Certificate{{Instrument: "R-1", Number: "C-1", IssuedAt: march(1, 0, 0), ValidUntil: march(20, 0, 0),
		Unit: unit.CelsiusScale, Fit: instrument.StraightLine, Points: []instrument.CertificatePoint{
			{At: 0, ExpandedUncertainty: 100_000}, {At: 25_000_000, Correction: 150_000, ExpandedUncertainty: 100_000},
			{At: 50_000_000, Correction: 0, ExpandedUncertainty: 100_000}, {At: 75_000_000, Correction: 150_000, ExpandedUncertainty: 100_000}}}}
	check := against(checkOf("T-1", march(4, 0, 0), 0.8), "R-1")
	for i := range check.Points {
		check.Points[i].ReferenceUncertainty = nil // else it counts and not that of the certificate
	}
	told := map[string]instrument.Recorded{}
	expanded := map[string][]float64{}
	for name, comes := range map[string][]func(*site){
		"before": {func(s *site) { s.added(s.AddCertificates(s.ctx, s.sc, certificate)) }, func(s *site) { s.record(check) }},
		"after":  {func(s *site) { s.record(check) }, func(s *site) { s.added(s.AddCertificates(s.ctx, s.sc, certificate)) }},
	} {
		s := openPlant(t, svc, t.Name()+name)
		p := s.puts("decision_rule: guarded\n" + housePolicy)
		for _, c := range comes {
			c(s)
		}
		checks := s.history("T-1").Checks
		r := checks[len(checks)-1]
		for _, pt := range r.Points {
			expanded[name] = append(expanded[name], errorPoint(pt, p.DecisionRule).ExpandedUncertainty)
		}
		r.ID, r.FoundThen, r.LeftThen = 0, "", ""
		told[name] = r
		s.checkAll()
	}
	if dof := told["before"].Points[0].Reference.DoF; dof < 2 || dof > 10 { // n − 2 of four points, and what the points' own uncertainty adds
		t.Fatalf("%g degrees of freedom, want a few: the test tests nothing", dof)
	}
	if d := cmp.Diff(told["before"], told["after"]); d != "" {
		t.Errorf("the check (-certificate known before, +after):\n%s", d)
	}
	if d := cmp.Diff(expanded["before"], expanded["after"]); d != "" {
		t.Errorf("U (-certificate known before, +after):\n%s", d)
	}
}

// puts puts another policy in force.
func (s *site) puts(text string) (p sitePolicy) {
	s.Helper()
	s.adopts(text)
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) (err error) {
		p, err = currentPolicy(s.ctx, tx)
		return err
	}))
	return p
}
