package api

import (
	"context"
	"crypto/sha256"
	"fmt"
	"time"

	"testing"

	"lastgood/policy/unit"
	"lastgood/workflow"
	"lastgood/workflow/instrument"
	"lastgood/workflow/lot"
	"lastgood/workflow/reading"
)

// march is a time in the month in which the invented case happens.
func march(day, hour int) time.Time { return time.Date(2025, 3, day, hour, 0, 0, 0, time.UTC) }

// newCase is a plant with one deviation: the thermometer T-1 passed on the 2nd,
// read 160.0 F for lot L-1 and 168.0 F for L-2 on the 3rd, and on the 4th read
// 2.0 F too high. Its tolerance is 1.0 F. It is traced.
func newCase(t *testing.T) *plant {
	t.Helper()
	p := newPlant(t)
	ctx := context.Background()
	since := march(1, 0)
	_, err := p.svc.AddInstruments(ctx, p.scope, []instrument.Instrument{{Code: "T-1", Kind: "thermocouple", Unit: unit.FahrenheitScale,
		Tolerance: unit.PerDegree, InServiceFrom: &since}})
	p.must(err)
	var lots []lot.Lot
	for _, code := range []string{"L-1", "L-2"} {
		lots = append(lots, lot.Lot{Code: code, Quantity: &unit.Quantity{Amount: "100", Unit: "kg"}})
	}
	_, err = p.svc.AddLots(ctx, p.scope, lots)
	p.must(err)
	p.checked(march(2, 6), 0)
	p.reads("L-1", march(3, 10), 160)
	p.reads("L-2", march(3, 11), 168)
	opened := p.checked(march(4, 6), 2)
	if len(opened) != 1 || opened[0].ID != 1 {
		t.Fatalf("opened: %+v", opened)
	}
	_, err = p.svc.Trace(ctx, p.scope, 1)
	p.must(err)
	return p
}

func (p *plant) must(err error) {
	p.t.Helper()
	if err != nil {
		p.t.Fatal(err)
	}
}

// checked records a comparison of T-1 at 32 F and 160 F that found an error
// [F] with an expanded uncertainty of 0.2 F.
func (p *plant) checked(at time.Time, found float64) []workflow.Deviation {
	p.t.Helper()
	micro := func(v float64) *unit.Micro {
		m := unit.FromFloat(v, unit.Colder)
		return &m
	}
	c := instrument.Check{Instrument: "T-1", PerformedAt: at, PerformedBy: "tech-1", VerifiedBy: "tech-2"}
	for _, nominal := range []float64{32, 160} {
		c.Points = append(c.Points, instrument.CheckPoint{Kind: instrument.Comparison, Unit: unit.FahrenheitScale,
			ReferenceReading: micro(nominal), ReferenceUncertainty: micro(0.2), Found: micro(nominal + found)})
	}
	opened, err := p.svc.Record(context.Background(), p.scope, workflow.Happenings{Checks: []instrument.Check{c}})
	p.must(err)
	return opened
}

// reads takes in one reading of T-1 at the cook step [F].
func (p *plant) reads(lotCode string, at time.Time, value float64) {
	p.t.Helper()
	r := reading.Reading{Instrument: "T-1", TakenAt: at, Value: value, Decimals: 1, Unit: unit.FahrenheitScale, Lot: lotCode, Limit: "cook-core"}
	digest := sha256.Sum256([]byte(fmt.Sprint(r)))
	_, err := p.svc.TakeReadings(context.Background(), p.scope, reading.Chunk{BatchKey: lotCode + at.String(), Digest: digest[:], Readings: []reading.Reading{r}})
	p.must(err)
}
