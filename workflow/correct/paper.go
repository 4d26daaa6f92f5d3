// Package correct owns what is done about the cause of a deviation and about what
// failed: the corrective action in its parts, whether a preventive measure works,
// the line, the instrument and the plan. Who signs stands in signoff.
package correct

import (
	"context"
	"fmt"

	"github.com/lib/pq"

	"lastgood/workflow/pg"
)

// Paper is something that a statement rests on. Its bytes are kept as evidence.
type Paper struct {
	Name   string
	Digest []byte
}

// What a paper belongs to.
const (
	ofPart   = "part"
	ofEffect = "effect"
	ofLine   = "line"
)

func addPapers(ctx context.Context, tx *pg.Tx, kind string, id int64, list []Paper) error {
	const add = `insert into statement_paper (plant_id, kind, of_id, ordinal, name, digest) values ($1, $2, $3, $4, $5, $6)`
	for i, p := range list {
		if _, err := tx.ExecContext(ctx, add, tx.Plant, kind, id, i, p.Name, p.Digest); err != nil {
			return fmt.Errorf("paper %s: %w", p.Name, err)
		}
	}
	return nil
}

// papersOf returns the papers of statements of one kind, by statement.
func papersOf(ctx context.Context, tx *pg.Tx, kind string, ids []int64) (map[int64][]Paper, error) {
	var rows []struct {
		Of     int64  `db:"of_id"`
		Name   string `db:"name"`
		Digest []byte `db:"digest"`
	}
	const q = `select of_id, name, digest from statement_paper where plant_id = $1 and kind = $2 and of_id = any($3) order by of_id, ordinal`
	if err := tx.SelectContext(ctx, &rows, q, tx.Plant, kind, pq.Array(ids)); err != nil {
		return nil, fmt.Errorf("papers: %w", err)
	}
	out := map[int64][]Paper{}
	for _, r := range rows {
		out[r.Of] = append(out[r.Of], Paper{r.Name, r.Digest})
	}
	return out, nil
}
