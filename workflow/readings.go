package workflow

import (
	"context"
	"fmt"
	"strconv"

	"github.com/go-json-experiment/json"

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
		p, err := currentPolicy(ctx, tx)
		if err != nil {
			return err
		}
		epoch, err := tx.SharePlant(ctx)
		if err != nil {
			return err
		}
		a, err = reading.Ingest(ctx, tx, c, p.names)
		if err != nil {
			return err
		}
		if epoch > 0 { // no deviation was ever opened otherwise
			if err := touchReadings(ctx, tx, a.Touched); err != nil {
				return fmt.Errorf("deviations: %w", err)
			}
		}
		body, err := json.Marshal(a)
		if err != nil {
			return err
		}
		if err := tx.Answered(ctx, c.Digest, 200, body); err != nil {
			return err
		}
		return trail.Append(ctx, tx, trail.Entry{Stream: "batch/" + c.BatchKey, Action: "readings.received",
			Subject: fmt.Sprintf("chunk %d", c.Number), After: batchNote{Rows: a.Accepted, SHA256: c.Digest}})
	})
	return a, err
}
