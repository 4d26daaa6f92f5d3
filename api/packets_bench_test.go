package api

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"
	"testing"
	"time"

	"lastgood/api/packet"
	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/actor"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
	"lastgood/workflow/reading"
	"lastgood/workflow/trail/checkpoint"
)

// BenchmarkPacket makes and checks the packet of a deviation of 100,000 readings
// of a hundred lots.
func BenchmarkPacket(b *testing.B) {
	ctx := context.Background()
	db, err := pg.Open(ctx, pgtest.DB(b).App, time.Now)
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	svc, err := workflow.New(db)
	if err != nil {
		b.Fatal(err)
	}
	key, err := checkpoint.NewKey()
	if err != nil {
		b.Fatal(err)
	}
	svc.SignWith(key)
	sc := fillBench(b, svc)
	var out bytes.Buffer
	b.Run("make", func(b *testing.B) {
		for b.Loop() {
			made, err := svc.Packet(ctx, sc, 1)
			if err != nil {
				b.Fatal(err)
			}
			out.Reset()
			if _, err := WritePacket(ctx, &out, made, nil, svc.SignNote); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric(float64(out.Len())/1e6, "MB")
	})
	b.Run("verify", func(b *testing.B) {
		for b.Loop() {
			if r := packet.Verify(out.Bytes(), key.Verifier()); len(r.Wrong) > 0 {
				b.Fatal(r.Wrong)
			}
		}
	})
}

// fillBench makes a plant whose thermometer took 100,000 readings between two
// checks, and failed the second.
func fillBench(b *testing.B, svc *workflow.Service) pg.Scope {
	b.Helper()
	ctx := context.Background()
	must := func(err error) {
		b.Helper()
		if err != nil {
			b.Fatal(err)
		}
	}
	id, err := svc.Plant(ctx, "Tallow Mere Kitchens", "UTC", nil)
	must(err)
	sc := pg.Scope{Plant: id, By: actor.Actor{ID: "tester", Kind: actor.Person}}
	_, err = svc.PutPolicy(ctx, sc, []byte("limits: [{limit: cook-core, kind: at_least, temperature: 71 C}]\n"))
	must(err)
	since := march(1, 0)
	_, err = svc.AddInstruments(ctx, sc, []instrument.Instrument{{Code: "T-1", Kind: "logger", Unit: unit.CelsiusScale, Tolerance: unit.PerDegree, InServiceFrom: &since}})
	must(err)
	const lots, each = 100, 1000
	var list []lot.Lot
	for i := range lots {
		list = append(list, lot.Lot{Code: fmt.Sprint("L-", i), Quantity: &unit.Quantity{Amount: "100", Unit: "kg"}})
	}
	_, err = svc.AddLots(ctx, sc, list)
	must(err)
	check := func(at time.Time, found float64) {
		micro := func(v float64) *unit.Micro { m := unit.FromFloat(v, unit.Colder); return &m }
		c := instrument.Check{Instrument: "T-1", PerformedAt: at, PerformedBy: "tech-1", VerifiedBy: "tech-2"}
		for _, n := range []float64{0, 72} {
			c.Points = append(c.Points, instrument.CheckPoint{Kind: instrument.Comparison, Unit: unit.CelsiusScale, ReferenceReading: micro(n), ReferenceUncertainty: micro(0.2), Found: micro(n + found)})
		}
		_, err := svc.Record(ctx, sc, workflow.Happenings{Checks: []instrument.Check{c}})
		must(err)
	}
	check(march(2, 6), 0)
	for half := range 2 {
		var rows []reading.Reading
		for i := half * lots * each / 2; i < (half+1)*lots*each/2; i++ {
			rows = append(rows, reading.Reading{Instrument: "T-1", TakenAt: march(3, 0).Add(time.Duration(i) * 2 * time.Second), Value: 72 + float64(i%20)/10,
				Decimals: 1, Unit: unit.CelsiusScale, Lot: fmt.Sprint("L-", i/each), Limit: "cook-core"})
		}
		digest := sha256.Sum256([]byte{byte(half)})
		_, err := svc.TakeReadings(ctx, sc, reading.Chunk{BatchKey: fmt.Sprint("b", half), Digest: digest[:], Readings: rows})
		must(err)
	}
	check(march(6, 6), 2)
	_, err = svc.Trace(ctx, sc, 1)
	must(err)
	return sc
}
