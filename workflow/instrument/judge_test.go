package instrument_test

import (
	"errors"
	"fmt"
	"os"
	"testing"
	"time"

	"lastgood/policy/metrology"
	"lastgood/policy/unit"
	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// store is an invented plant's thermometers: T-1 and R-1 of ±1 °C. R-1 has a
// certificate for March that reaches from 0 to 75 °C: add 0.4 °C at 75.
type store struct {
	*testing.T
	db *pg.DB
	sc pg.Scope
}

func open(t *testing.T, altitudeM *float64) *store {
	t.Helper()
	db, err := pg.Open(t.Context(), pgtest.DB(t).App, func() time.Time { return march(30) })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	id, err := db.CreatePlant(t.Context(), "Alder Hill", "UTC", altitudeM)
	if err != nil {
		t.Fatal(err)
	}
	s := &store{t, db, pg.Scope{Plant: id, By: actor.Actor{ID: "tech-1", Kind: actor.Person}}}
	s.tx(func(tx *pg.Tx) error {
		_, err := instrument.Add(t.Context(), tx, []instrument.Instrument{
			{Code: "T-1", Kind: "thermocouple", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree},
			{Code: "R-1", Kind: "rtd", Role: instrument.Reference, Unit: unit.CelsiusScale, Tolerance: unit.PerDegree}})
		if err != nil {
			return err
		}
		_, err = instrument.AddCertificates(t.Context(), tx, []instrument.Certificate{{Instrument: "R-1", Number: "C-1",
			IssuedAt: march(1), ValidUntil: march(20), Unit: unit.CelsiusScale, Points: []instrument.CertificatePoint{
				{At: 0, ExpandedUncertainty: 100_000}, {At: 75_000_000, Correction: 400_000, ExpandedUncertainty: 100_000}}}})
		return err
	})
	return s
}

func march(d int) time.Time { return time.Date(2025, 3, d, 0, 0, 0, 0, time.UTC) }

func (s *store) tx(f func(*pg.Tx) error) {
	s.Helper()
	if err := s.db.InTx(s.Context(), s.sc, f); err != nil {
		s.Fatal(err)
	}
}

func degrees(v float64) *unit.Micro {
	m := unit.FromFloat(v, unit.Colder)
	return &m
}

// comparison is a check of T-1 against R-1 at one point.
func comparison(at time.Time, reference, found float64) instrument.Check {
	return instrument.Check{Instrument: "T-1", PerformedAt: at, PerformedBy: "tech-1", Points: []instrument.CheckPoint{{
		Kind: instrument.Comparison, Unit: unit.CelsiusScale, Reference: "R-1", ReferenceReading: degrees(reference), Found: degrees(found)}}}
}

func point(c instrument.Check, change func(*instrument.CheckPoint)) instrument.Check {
	change(&c.Points[0])
	return c
}

func (s *store) judge(c instrument.Check) (d instrument.Judged, err error) {
	s.Helper()
	err = s.db.InTx(s.Context(), s.sc, func(tx *pg.Tx) error {
		list, err := instrument.Judge(s.Context(), tx, []instrument.Check{c}, metrology.DefaultRule())
		if err == nil {
			d = list[0]
		}
		return err
	})
	return d, err
}

func TestCertificateCorrectsTheReference(t *testing.T) {
	t.Parallel()
	s := open(t, nil)
	d, err := s.judge(comparison(march(5), 75, 76.2)) // it was 75.4: the error is 0.8, not 1.2
	if err != nil || d.Judgement.Found != metrology.Pass {
		t.Fatalf("%s, %v", d.Judgement.Found, err)
	}
	if got := d.Points[0].Reference.True; got != *degrees(75.4) {
		t.Errorf("true temperature %v, want 75.4", got)
	}
	if d, err = s.judge(comparison(march(5), 37.5, 38.701)); err != nil || d.Judgement.Found != metrology.Fail { // 37.7: 1.001
		t.Errorf("%s, %v", d.Judgement.Found, err)
	}
}

func TestWhatIsNoCheck(t *testing.T) {
	t.Parallel()
	none, low := open(t, nil), 0.0
	sea := open(t, &low)
	boiling := instrument.Check{Instrument: "T-1", PerformedAt: march(5), Points: []instrument.CheckPoint{{Kind: instrument.Boiling, Unit: unit.CelsiusScale, Found: degrees(100)}}}
	for name, c := range map[string]struct {
		s    *store
		c    instrument.Check
		want string // index, part, rule; empty: it is one
	}{
		"a good one":              {none, comparison(march(5), 75, 75.4), ""},
		"certificate not yet":     {none, comparison(march(1).Add(-time.Second), 75, 75), "0 0 expired-reference"},
		"certificate's first day": {none, comparison(march(1), 75, 75.4), ""},
		"certificate's last day":  {none, comparison(march(20), 75, 75.4), ""},
		"certificate over":        {none, comparison(march(20).Add(time.Second), 75, 75), "0 0 expired-reference"},
		"beyond the certificate":  {none, comparison(march(5), 121, 121), "0 0 certificate-range"},
		"unknown reference": {none, point(comparison(march(5), 75, 75), func(p *instrument.CheckPoint) {
			p.Reference = "R-9"
		}), "0 0 unknown-instrument"},
		"itself":              {none, point(comparison(march(5), 75, 75), func(p *instrument.CheckPoint) { p.Reference = "T-1" }), "0 0 reference-is-itself"},
		"over ten tolerances": {none, comparison(march(5), 75, 86), "0 0 swapped"},
		"over ten tolerances, looked at again": {none, func() instrument.Check {
			c := comparison(march(5), 75, 86)
			c.Confirmed = true
			return c
		}(), ""},
		"boiling at an unknown height": {none, boiling, "0 0 altitude-unknown"},
		"boiling at the sea":           {sea, boiling, ""},
		"boiling at a pressure": {none, point(instrument.Check{Instrument: "T-1", PerformedAt: march(5), Points: []instrument.CheckPoint{
			{Kind: instrument.Boiling, Unit: unit.CelsiusScale, Found: degrees(100)}}}, func(p *instrument.CheckPoint) {
			kpa := 101.325
			p.PressureKPa = &kpa
		}), ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			_, err := c.s.judge(c.c)
			got := ""
			var rows fault.Rows
			if errors.As(err, &rows) {
				got = fmt.Sprint(rows[0].Index, rows[0].Part, " "+rows[0].Rule)
			} else if err != nil {
				t.Fatal(err)
			}
			if got != c.want {
				t.Errorf("%q, want %q: %v", got, c.want, err)
			}
		})
	}
}

func TestAdjustedWithoutAsLeft(t *testing.T) {
	t.Parallel()
	s := open(t, nil)
	s.tx(func(tx *pg.Tx) error {
		_, err := instrument.AddEvents(t.Context(), tx, []instrument.Event{{Instrument: "T-1", At: march(5).Add(time.Hour), Kind: instrument.Adjusted}})
		return err
	})
	for name, c := range map[string]struct {
		check   instrument.Check
		unknown bool
	}{
		"within the hour before it": {comparison(march(5), 75, 75.4), true},
		"more than an hour before":  {comparison(march(5).Add(-time.Second), 75, 75.4), false},
		"after it":                  {comparison(march(5).Add(2*time.Hour), 75, 75.4), false},
		"as left recorded":          {point(comparison(march(5), 75, 75.4), func(p *instrument.CheckPoint) { p.Left = degrees(75.4) }), false},
		// It was adjusted, for it has an as-left value: that moved the other point too.
		"as left recorded at one point of two": {func() instrument.Check {
			c := comparison(march(10), 75, 75.4)
			c.Points = append(c.Points, c.Points[0])
			c.Points[0].Left = degrees(75.4)
			return c
		}(), true},
	} {
		if d, err := s.judge(c.check); err != nil || d.LeftUnknown != c.unknown {
			t.Errorf("%s: left unknown %v, want %v; %v", name, d.LeftUnknown, c.unknown, err)
		}
	}
}

// Three invented points, the middle one 0.3 K off any line: nobody may record
// them as a line.
func TestACertificateThatIsNoLine(t *testing.T) {
	t.Parallel()
	s := open(t, nil)
	add := func(fit instrument.Fit, points ...instrument.CertificatePoint) error {
		return s.db.InTx(t.Context(), s.sc, func(tx *pg.Tx) error {
			_, err := instrument.AddCertificates(t.Context(), tx, []instrument.Certificate{{Instrument: "R-1", Number: "C-9",
				IssuedAt: march(1), ValidUntil: march(20), Unit: unit.CelsiusScale, Fit: fit, Points: points}})
			return err
		})
	}
	bent := []instrument.CertificatePoint{{At: 0, ExpandedUncertainty: 100_000},
		{At: 50_000_000, Correction: 300_000, ExpandedUncertainty: 100_000}, {At: 100_000_000, ExpandedUncertainty: 100_000}}
	for name, points := range map[string][]instrument.CertificatePoint{"bent": bent, "two points": bent[:2]} {
		var bad fault.Rows
		if err := add(instrument.StraightLine, points...); !errors.As(err, &bad) || bad[0].Rule != "not-a-line" || bad[0].Field != "fit" {
			t.Errorf("%s: %v", name, err)
		}
	}
	if err := add(instrument.PointByPoint, bent...); err != nil {
		t.Error(err)
	}
}

// What is stored and read again says the same.
func TestHistoryIsWhatWasRecorded(t *testing.T) {
	t.Parallel()
	s := open(t, nil)
	left := point(comparison(march(5), 75, 77), func(p *instrument.CheckPoint) { p.Left = degrees(75.4) })
	lost := instrument.Check{Instrument: "T-1", PerformedAt: march(4), Unusable: true}
	var h instrument.History
	for want := range 2 { // recorded once, and again
		s.tx(func(tx *pg.Tx) error {
			if _, err := tx.ExecContext(t.Context(), `insert into policy_version values ($1, 1, 'x', 'x', $2, 'qa') on conflict do nothing`, tx.Plant, tx.Now); err != nil {
				return err
			}
			list, err := instrument.Judge(t.Context(), tx, []instrument.Check{left, lost}, metrology.DefaultRule())
			if err != nil {
				return err
			}
			fresh, err := instrument.AddChecks(t.Context(), tx, list, 1)
			if len(fresh) != 2-2*want {
				t.Errorf("time %d: %d are new", want+1, len(fresh))
			}
			return err
		})
	}
	s.tx(func(tx *pg.Tx) error {
		known, err := instrument.Known(t.Context(), tx)
		if err != nil {
			return err
		}
		h, err = instrument.LoadHistory(t.Context(), tx, known["T-1"])
		return err
	})
	if len(h.Checks) != 2 || !h.Checks[0].Unusable || h.Checks[1].Found != metrology.Fail || h.Checks[1].Left != metrology.Pass {
		t.Fatalf("%+v", h.Checks)
	}
	p := h.Checks[1].Points[0]
	if *p.Found != *degrees(77) || *p.Left != *degrees(75.4) || p.Reference.True != *degrees(75.4) || p.Reference.Basis == "" {
		t.Errorf("%+v", p)
	}
}
