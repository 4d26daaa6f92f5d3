package reading

import (
	"bytes"
	"context"
	"fmt"

	"lastgood/policy/unit"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
)

// Context is what readings of one kind have in common.
type Context struct {
	ID         int32  `db:"context_id" json:"-"`
	LimitName  string `db:"limit_name" json:"limit_name"`
	LocationID int32  `db:"location_id" json:"location_id"` // 0: none named
	Operator   string `db:"operator" json:"operator"`
	Unit       string `db:"unit" json:"unit"`
	Decimals   int8   `db:"decimals" json:"decimals"`
}

// Scale returns the unit that the values are in.
func (c Context) Scale() unit.Scale { return unit.Scale(c.Unit[0]) }

func contextOf(r *Reading, location int32) Context {
	return Context{LimitName: r.Limit, LocationID: location, Operator: r.TakenBy, Unit: r.Unit.String(), Decimals: r.Decimals}
}

const contextColumns = `context_id, limit_name, location_id, operator, unit, decimals`

// internContexts returns the number of each context in use, making those that
// are new.
func internContexts(ctx context.Context, tx *pg.Tx, list []Reading, places map[string]int32) (map[Context]int32, error) {
	const add = `insert into reading_context (plant_id, limit_name, location_id, operator, unit, decimals)
		select $1, limit_name, location_id, operator, unit, decimals from json_to_recordset($2)
		as r(limit_name text, location_id int, operator text, unit text, decimals smallint)
		where $3::timestamptz is not null on conflict do nothing`
	m := map[Context]int32{}
	var last Context
	for i := range list {
		if c := contextOf(&list[i], places[list[i].Location]); i == 0 || c != last { // most are like the one before
			m[c], last = 0, c
		}
	}
	all, err := Contexts(ctx, tx)
	if err != nil {
		return nil, err
	}
	fill(m, all)
	var missing []Context
	for c, id := range m {
		if id == 0 {
			missing = append(missing, c)
		}
	}
	if len(missing) == 0 {
		return m, nil
	}
	if _, err := tx.Insert(ctx, add, missing); err != nil {
		return nil, fmt.Errorf("reading contexts: %w", err)
	}
	if all, err = Contexts(ctx, tx); err != nil {
		return nil, err
	}
	fill(m, all)
	return m, nil
}

func fill(m map[Context]int32, all map[int32]Context) {
	for id, c := range all {
		c.ID = 0
		if _, used := m[c]; used {
			m[c] = id
		}
	}
}

// Contexts returns the plant's reading contexts by number.
func Contexts(ctx context.Context, tx *pg.Tx) (map[int32]Context, error) {
	var rows []Context
	err := tx.SelectContext(ctx, &rows, `select `+contextColumns+` from reading_context where plant_id = $1`, tx.Plant)
	if err != nil {
		return nil, fmt.Errorf("reading contexts: %w", err)
	}
	m := make(map[int32]Context, len(rows))
	for _, c := range rows {
		m[c.ID] = c
	}
	return m, nil
}

// sentBefore says whether a chunk was taken in before, by whomever. Another
// chunk of the same number in the same batch is refused.
func sentBefore(ctx context.Context, tx *pg.Tx, c Chunk) (bool, error) {
	var digests [][]byte
	const q = `select digest from ingest_batch where plant_id = $1 and batch_key = $2 and chunk = $3`
	if err := tx.SelectContext(ctx, &digests, q, tx.Plant, c.BatchKey, c.Number); err != nil {
		return false, fmt.Errorf("batch %s: %w", c.BatchKey, err)
	}
	if len(digests) > 0 && !bytes.Equal(digests[0], c.Digest) {
		return false, fault.New(fault.Conflict, "batch-chunk-reused", "batch %s has another chunk %d already", c.BatchKey, c.Number)
	}
	return len(digests) > 0, nil
}

func openBatch(ctx context.Context, tx *pg.Tx, c Chunk) (id int32, err error) {
	const add = `insert into ingest_batch (plant_id, batch_key, chunk, digest, received_at, received_by, rows_in, rows_new)
		values ($1, $2, $3, $4, $5, $6, $7, 0) returning batch_id`
	err = tx.GetContext(ctx, &id, add, tx.Plant, c.BatchKey, c.Number, c.Digest, tx.Now, tx.By.ID, len(c.Readings))
	return id, err
}

func closeBatch(ctx context.Context, tx *pg.Tx, id int32, accepted int) error {
	_, err := tx.ExecContext(ctx, `update ingest_batch set rows_new = $3 where plant_id = $1 and batch_id = $2`, tx.Plant, id, accepted)
	return err
}
