package reading_test

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"testing"
	"time"

	"lastgood/policy/unit"
	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/instrument"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
	"lastgood/workflow/reading"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// store is an invented plant's readings. It has the instruments T-1 and T-2, in
// service since 2025, and the limits cook and chill.
type store struct {
	*testing.T
	db *pg.DB
	sc pg.Scope
}

func open(t *testing.T) *store {
	t.Helper()
	db, err := pg.Open(t.Context(), pgtest.DB(t).App, func() time.Time { return time.Date(2025, 6, 1, 0, 0, 0, 0, time.UTC) })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	id, err := db.CreatePlant(t.Context(), "Alder Hill", "UTC", nil)
	if err != nil {
		t.Fatal(err)
	}
	s := &store{t, db, pg.Scope{Plant: id, By: actor.Actor{ID: "historian", Kind: actor.Key}}}
	since := day(1, 1)
	s.tx(func(tx *pg.Tx) error {
		_, err := instrument.Add(t.Context(), tx, []instrument.Instrument{
			{Code: "T-1", Kind: "thermocouple", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree, InServiceFrom: &since},
			{Code: "T-2", Kind: "thermocouple", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree, InServiceFrom: &since}})
		return err
	})
	return s
}

func day(month time.Month, d int) time.Time { return time.Date(2025, month, d, 0, 0, 0, 0, time.UTC) }

func (s *store) tx(f func(*pg.Tx) error) {
	s.Helper()
	if err := s.db.InTx(s.Context(), s.sc, f); err != nil {
		s.Fatal(err)
	}
}

// read is a reading of T-1 in °C.
func read(at time.Time, value float64) reading.Reading {
	return reading.Reading{Instrument: "T-1", TakenAt: at, Value: value, Decimals: 1, Unit: unit.CelsiusScale, Lot: "A", Limit: "cook"}
}

// by gives a reading the sender's key.
func by(source string, r reading.Reading) reading.Reading {
	r.SourceID = source
	return r
}

// take takes a chunk of a batch in.
func (s *store) take(batch string, list ...reading.Reading) (a reading.Answer, err error) {
	s.Helper()
	digest := sha256.Sum256(fmt.Append(nil, list))
	c := reading.Chunk{BatchKey: batch, Digest: digest[:], Readings: list}
	err = s.db.InTx(s.Context(), s.sc, func(tx *pg.Tx) error {
		if _, err := tx.SharePlant(s.Context()); err != nil {
			return err
		}
		a, err = reading.Ingest(s.Context(), tx, c, reading.Limits{"cook": nil, "chill": nil})
		return err
	})
	return a, err
}

// takes fails unless a chunk is taken in, with so many new readings and these
// duplicates.
func (s *store) takes(batch string, accepted int, duplicates []int, list ...reading.Reading) {
	s.Helper()
	a, err := s.take(batch, list...)
	if err != nil {
		s.Fatalf("%s: %v", batch, err)
	}
	if a.Accepted != accepted || fmt.Sprint(a.Duplicates) != fmt.Sprint(duplicates) {
		s.Errorf("%s: %d accepted, duplicates %v; want %d, %v", batch, a.Accepted, a.Duplicates, accepted, duplicates)
	}
}

// refuses fails unless a chunk is refused for these rows, as "index rule", and
// leaves nothing.
func (s *store) refuses(batch string, want []string, list ...reading.Reading) {
	s.Helper()
	before := s.count(`select (select count(*) from reading) + (select count(*) from ingest_batch) + (select count(*) from lot)`)
	_, err := s.take(batch, list...)
	var rows fault.Rows
	if !errors.As(err, &rows) {
		s.Fatalf("%s: %v", batch, err)
	}
	var got []string
	for _, r := range rows {
		got = append(got, fmt.Sprintf("%d %s", r.Index, r.Rule))
	}
	if fmt.Sprint(got) != fmt.Sprint(want) {
		s.Errorf("%s: refused %v, want %v", batch, got, want)
	}
	if after := s.count(`select (select count(*) from reading) + (select count(*) from ingest_batch) + (select count(*) from lot)`); after != before {
		s.Errorf("%s: a refused chunk left %d rows", batch, after-before)
	}
}

func (s *store) count(q string) (n int) {
	s.Helper()
	s.read(func(tx *pg.Tx) error { return tx.GetContext(s.Context(), &n, q) })
	return n
}

func (s *store) read(f func(*pg.Tx) error) {
	s.Helper()
	if err := s.db.Read(s.Context(), s.sc, f); err != nil {
		s.Fatal(err)
	}
}

// stored returns the values of T-1 in (after, until], by time.
func (s *store) stored(after, until time.Time) (list []reading.Taken) {
	s.Helper()
	s.read(func(tx *pg.Tx) error {
		known, err := instrument.Known(s.Context(), tx)
		if err != nil {
			return err
		}
		for r, err := range reading.Stream(s.Context(), tx, known["T-1"].ID, after, until) {
			if err != nil {
				return err
			}
			list = append(list, r)
		}
		return nil
	})
	return list
}
