package workflow

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/reading"
	"lastgood/workflow/trail"
)

// TakeReadings takes one chunk of a batch of readings in, in whole or not at
// all. The same chunk again, by batch key, number and digest, is answered as the
// first time. fault.Rows names every row that is wrong; nothing is then
// written.
//
// Under the shared plant lock, a deviation that opens meanwhile either sees
// these readings or is seen here and becomes due for a new trace run.
func (s *Service) TakeReadings(ctx context.Context, sc pg.Scope, c reading.Chunk) (reading.Answer, error) {
	return s.take(ctx, sc, c, func(a reading.Answer) reading.Answer { return a })
}

// TakeGoodReadings is TakeReadings, but takes in what is right of a chunk and
// answers what is wrong with the rest: the good rows of a chunk commit together.
func (s *Service) TakeGoodReadings(ctx context.Context, sc pg.Scope, c reading.Chunk) (reading.Answer, error) {
	sent := c.Readings
	var refused []reading.Refused
	for {
		good := goodPlaces(len(sent), refused)
		c.Readings = pg.Pick(sent, good)
		a, err := s.take(ctx, sc, c, func(a reading.Answer) reading.Answer {
			for i, n := range a.Duplicates {
				a.Duplicates[i] = good[n]
			}
			for i, q := range a.Quarantined {
				a.Quarantined[i].Index = good[q.Index]
			}
			a.Refused = refused
			return a
		})
		var bad fault.Rows
		if !errors.As(err, &bad) {
			return a, err
		}
		for _, b := range bad { // a later look may find more, in rows that passed this one
			refused = append(refused, reading.Refused{Index: good[b.Index], Field: b.Field, Rule: b.Rule, Detail: b.Detail})
		}
	}
}

func goodPlaces(n int, refused []reading.Refused) []int {
	bad := make(map[int]bool, len(refused))
	for _, r := range refused {
		bad[r.Index] = true
	}
	good := make([]int, 0, n-len(bad))
	for i := range n {
		if !bad[i] {
			good = append(good, i)
		}
	}
	return good
}

// take is one transaction for a chunk. describe completes the answer before it
// is stored.
func (s *Service) take(ctx context.Context, sc pg.Scope, c reading.Chunk, describe func(reading.Answer) reading.Answer) (reading.Answer, error) {
	sc.IdemKey = "readings/" + c.BatchKey + "/" + strconv.Itoa(c.Number)
	var a reading.Answer
	err := s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		a = reading.Answer{}
		answer, done, err := tx.Once(ctx, c.Digest)
		if err != nil {
			return err
		}
		if done {
			return json.Unmarshal(answer, &a)
		}
		if a, err = takeIn(ctx, tx, c); err != nil {
			return err
		}
		a = describe(a)
		body, err := json.Marshal(a)
		if err != nil {
			return err
		}
		if err := tx.Answered(ctx, c.Digest, statusDone, body); err != nil {
			return err
		}
		return trail.Append(ctx, tx, trail.Entry{Stream: "batch/" + c.BatchKey, Action: "readings.received",
			Subject: fmt.Sprintf("chunk %d", c.Number), After: chunkNote{batchNote{Rows: a.Accepted, SHA256: c.Digest}, len(a.Quarantined)}})
	})
	return a, err
}

// chunkNote is what the trail says of a chunk.
type chunkNote struct {
	batchNote
	Quarantined int `json:"quarantined,omitzero"`
}

func takeIn(ctx context.Context, tx *pg.Tx, c reading.Chunk) (reading.Answer, error) {
	p, err := policyInForce(ctx, tx)
	if err != nil {
		return reading.Answer{}, err
	}
	epoch, err := tx.SharePlant(ctx)
	if err != nil {
		return reading.Answer{}, err
	}
	a, err := reading.Ingest(ctx, tx, c, p.readAt())
	if err != nil {
		return reading.Answer{}, err
	}
	if epoch > 0 { // no deviation was ever opened otherwise
		if err := touchReadings(ctx, tx, a.Touched); err != nil {
			return reading.Answer{}, fmt.Errorf("deviations: %w", err)
		}
	}
	return a, nil
}

// Zone returns the plant's time zone.
func (s *Service) Zone(ctx context.Context, sc pg.Scope) (*time.Location, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) (*time.Location, error) { return zoneOf(ctx, tx) })
}

// readAt returns the limits that readings may name, with the temperatures at
// which each is read. A record for a hold or a lethality begins cold and ends
// cold: of a single reading of one nothing can be said.
func (p sitePolicy) readAt() reading.Limits {
	m, passing := make(reading.Limits, len(p.Limits)), map[string]bool{}
	for _, l := range p.Limits { // a limit of one name may have been of another kind once
		m[l.Name] = append(m[l.Name], l.Criterion.Temperatures()...)
		passing[l.Name] = passing[l.Name] || l.Kind != "at_least" && l.Kind != "at_most"
	}
	for name := range passing {
		if passing[name] {
			m[name] = nil
		}
	}
	return m
}
