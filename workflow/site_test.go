package workflow

import (
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"testing"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/actor"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
	"lastgood/workflow/reading"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// The plant and its limits are invented; they have the size of limits that are
// in use.
const housePolicy = `
limits:
  - {limit: cook, kind: at_least, temperature: 71 C, hazard: salmonella}
  - {limit: chill, kind: at_most, temperature: 5 C, hazard: listeria, max_gap: 2h, applies_to: {locations: [cooler]}}
severities: {salmonella: serious, listeria: serious}
`

// tb is what testing.T and rapid.T have in common.
type tb interface {
	Helper()
	Fatalf(format string, args ...any)
	Errorf(format string, args ...any)
}

// site is an invented plant on a database of its own.
type site struct {
	tb
	*Service
	ctx    context.Context
	sc     pg.Scope
	chunks int
}

// march is a time in the month in which all of these stories happen.
func march(day, hour, minute int) time.Time {
	return time.Date(2025, 3, day, hour, minute, 0, 0, time.UTC)
}

func openService(t *testing.T) (*Service, pgtest.DBs) {
	t.Helper()
	dsn := pgtest.DB(t)
	now := march(28, 12, 0)
	db, err := pg.Open(t.Context(), dsn.App, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	s, err := New(db)
	if err != nil {
		t.Fatal(err)
	}
	return s, dsn
}

// newSite opens a plant on a database of its own.
func newSite(t *testing.T) *site {
	t.Helper()
	svc, _ := openService(t)
	return siteOn(t, svc)
}

// siteOn opens a plant named after the test. What every story must leave behind
// is looked at when the test ends.
func siteOn(t *testing.T, svc *Service) *site {
	t.Helper()
	s := openPlant(t, svc, t.Name())
	t.Cleanup(s.checkAll)
	return s
}

// openPlant opens a plant that has the house policy and three thermometers with
// a tolerance of ±1 °C, in service since the first of the month, each of which
// passed on the 2nd.
func openPlant(t tb, svc *Service, name string) *site {
	t.Helper()
	ctx := context.Background()
	id, err := svc.Plant(ctx, name, "UTC", nil)
	if err != nil {
		t.Fatalf("plant: %v", err)
	}
	s := &site{tb: t, Service: svc, ctx: ctx, sc: pg.Scope{Plant: id, By: actor.Actor{ID: "qa-1", Kind: actor.Person}}}
	if _, err := svc.PutPolicy(ctx, s.sc, []byte(housePolicy)); err != nil {
		t.Fatalf("policy: %v", err)
	}
	since := march(1, 0, 0)
	var list []instrument.Instrument
	for _, code := range []string{"T-1", "T-2", "R-1"} {
		list = append(list, instrument.Instrument{Code: code, Kind: "thermocouple", Unit: unit.CelsiusScale,
			Tolerance: unit.PerDegree, InServiceFrom: &since})
	}
	s.added(svc.AddInstruments(ctx, s.sc, list))
	for _, code := range []string{"R-1", "T-1", "T-2"} {
		s.check(code, march(2, 6, 0), 0)
	}
	return s
}

func (s *site) must(err error) {
	s.Helper()
	if err != nil {
		s.Fatalf("%v", err)
	}
}

// added is must for facts.
func (s *site) added(_ Counts, err error) {
	s.Helper()
	s.must(err)
}

// query reads rows of the plant into dst.
func (s *site) query(dst any, q string, args ...any) {
	s.Helper()
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) error { return tx.SelectContext(s.ctx, dst, q, args...) }))
}

// count returns the one number that a query answers with.
func (s *site) count(q string, args ...any) int {
	s.Helper()
	var n []int
	s.query(&n, q, args...)
	return n[0]
}

func micro(v float64) *unit.Micro {
	m := unit.FromFloat(v, unit.Colder)
	return &m
}

// checkOf is a comparison at 0 °C and 75 °C that found the error everywhere.
func checkOf(code string, at time.Time, found float64) instrument.Check {
	c := instrument.Check{Instrument: code, PerformedAt: at, PerformedBy: "tech-1", VerifiedBy: "tech-2"}
	for _, nominal := range []float64{0, 75} {
		c.Points = append(c.Points, instrument.CheckPoint{Kind: instrument.Comparison, Unit: unit.CelsiusScale,
			ReferenceReading: micro(nominal), ReferenceUncertainty: micro(0.2), Found: micro(nominal + found)})
	}
	return c
}

// against names the reference of a check.
func against(c instrument.Check, reference string) instrument.Check {
	for i := range c.Points {
		c.Points[i].Reference = reference
	}
	return c
}

// adjusted says that the instrument was adjusted at a check until it was right.
func adjusted(c instrument.Check) instrument.Check {
	for i, p := range c.Points {
		c.Points[i].Left = p.ReferenceReading
	}
	return c
}

// record records checks and returns the deviations that they open.
func (s *site) record(list ...instrument.Check) []Deviation {
	s.Helper()
	opened, err := s.Record(s.ctx, s.sc, Happenings{Checks: list})
	s.must(err)
	return opened
}

// check records that a check found one error everywhere.
func (s *site) check(code string, at time.Time, found float64) []Deviation {
	s.Helper()
	return s.record(checkOf(code, at, found))
}

// fails records that an instrument read 3 °C too high and returns the
// deviation.
func (s *site) fails(code string, at time.Time) Deviation {
	s.Helper()
	opened := s.check(code, at, 3)
	if len(opened) != 1 {
		s.Fatalf("%d deviations of %s were opened", len(opened), code)
	}
	return opened[0]
}

// happens records an event and returns the deviations that it opens.
func (s *site) happens(code string, at time.Time, kind instrument.EventKind) []Deviation {
	s.Helper()
	opened, err := s.Record(s.ctx, s.sc, Happenings{Events: []instrument.Event{{Instrument: code, At: at, Kind: kind}}})
	s.must(err)
	return opened
}

// cooked is a reading at the cook step that names its lot.
func cooked(code string, at time.Time, value float64, lotCode string) reading.Reading {
	return reading.Reading{Instrument: code, TakenAt: at, Value: value, Decimals: 1, Unit: unit.CelsiusScale, Lot: lotCode, Limit: "cook"}
}

// chunk makes a chunk of a batch of its own.
func chunk(name string, list ...reading.Reading) reading.Chunk {
	digest := sha256.Sum256([]byte(fmt.Sprint(name, list)))
	return reading.Chunk{BatchKey: name, Digest: digest[:], Readings: list}
}

// reads takes readings in.
func (s *site) reads(list ...reading.Reading) {
	s.Helper()
	s.chunks++
	_, err := s.TakeReadings(s.ctx, s.sc, chunk(fmt.Sprint("batch-", s.chunks), list...))
	s.must(err)
}

func kg(amount string) *unit.Quantity { return &unit.Quantity{Amount: amount, Unit: "kg"} }

// makes registers lots of 100 kg each.
func (s *site) makes(codes ...string) {
	s.Helper()
	var list []lot.Lot
	for _, c := range codes {
		list = append(list, lot.Lot{Code: c, Product: "roast", Quantity: kg("100")})
	}
	s.added(s.AddLots(s.ctx, s.sc, list))
}

// turns records that 10 kg of a lot went into another.
func (s *site) turns(input, output string, at time.Time) {
	s.Helper()
	s.added(s.AddTransformations(s.ctx, s.sc, []lot.Transformation{{Event: input + output, At: at, Input: input, Output: output,
		InputQuantity: kg("10"), OutputQuantity: kg("10")}}))
}

// ships records that some of a lot has gone.
func (s *site) ships(code, amount string, at time.Time) {
	s.Helper()
	s.added(s.AddShipments(s.ctx, s.sc, []lot.Shipment{{Shipment: "S-" + code + amount, Lot: code, Quantity: kg(amount), ShippedAt: at,
		Consignee: "a customer"}}))
}

// trace traces a deviation.
func (s *site) trace(d Deviation) Run {
	s.Helper()
	run, err := s.Trace(s.ctx, s.sc, d.ID)
	s.must(err)
	return run
}

// now returns a deviation as it stands.
func (s *site) now(d Deviation) Deviation {
	s.Helper()
	var got Deviation
	s.must(s.db.Read(s.ctx, s.sc, func(tx *pg.Tx) (err error) {
		got, err = getDeviation(s.ctx, tx, d.ID, "")
		return err
	}))
	return got
}
