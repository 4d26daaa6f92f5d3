package instrument_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
)

// What repeats and a fitted certificate add to a check when it is judged is there
// when its history is read again, to the last bit.
func TestRepeatsAndFitAreKept(t *testing.T) {
	t.Parallel()
	s := open(t, nil)
	s.tx(func(tx *pg.Tx) error {
		_, err := instrument.AddCertificates(t.Context(), tx, []instrument.Certificate{{Instrument: "R-1", Number: "C-2", IssuedAt: march(20),
			ValidUntil: march(30), Unit: unit.CelsiusScale, Fit: instrument.StraightLine, Points: []instrument.CertificatePoint{
				{At: 0, ExpandedUncertainty: 100_000}, {At: 25_000_000, Correction: 150_000, ExpandedUncertainty: 100_000},
				{At: 50_000_000, Correction: 250_000, ExpandedUncertainty: 100_000}, {At: 75_000_000, Correction: 400_000, ExpandedUncertainty: 100_000}}}})
		return err
	})
	repeated := point(comparison(march(22), 50, 50.1), func(p *instrument.CheckPoint) {
		n := 4
		p.Repeats, p.Spread = &n, degrees(0.2)
	})
	var judged []instrument.Judged
	s.tx(func(tx *pg.Tx) (err error) {
		if _, err := tx.ExecContext(t.Context(), `insert into policy_version values ($1, 1, 'x', 'x', $2, 'qa')`, tx.Plant, tx.Now); err != nil {
			return err
		}
		list := []instrument.Check{comparison(march(21), 50, 50.1), repeated}
		if judged, err = instrument.Judge(t.Context(), tx, list, metrology.DefaultRule()); err != nil {
			return err
		}
		_, err = instrument.AddChecks(t.Context(), tx, judged, 1)
		return err
	})
	if once, often := judged[0].Points[0].U, judged[1].Points[0].U; often <= once {
		t.Errorf("four readings with a spread of 0.2 K: u = %v K, want more than the %v K of one whose spread nobody knows", often, once)
	}
	s.tx(func(tx *pg.Tx) error {
		known, err := instrument.Known(t.Context(), tx)
		if err != nil {
			return err
		}
		h, err := instrument.LoadHistory(t.Context(), tx, known["T-1"])
		if err != nil {
			return err
		}
		for i, c := range h.Checks {
			was, is := judged[i].Points[0], c.Points[0]
			if was.U != is.U || was.DoF != is.DoF || was.Repeats != is.Repeats || was.Spread != is.Spread {
				t.Errorf("check %d: %+v was judged, %+v is read", i, was, is)
			}
		}
		done, err := instrument.ChecksDone(t.Context(), tx, "T-1", 0, 10)
		if err != nil {
			return err
		}
		if d := cmp.Diff(repeated.Points, done[1].Check.Points); d != "" {
			t.Errorf("the point (-as sent +as listed):\n%s", d)
		}
		certs, err := instrument.Certificates(t.Context(), tx, "R-1", 0, 10)
		if err != nil {
			return err
		}
		if certs[0].Value.Fit != instrument.PointByPoint || certs[1].Value.Fit != instrument.StraightLine {
			t.Errorf("fits: %+v", certs)
		}
		return nil
	})
}
