package trail

import (
	"bytes"
	"context"
	"crypto/sha256"
	"fmt"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/pg"
)

// Stored is an entry as it is kept.
type Stored struct {
	Stream string `db:"stream"`
	Seq    int64  `db:"seq"`
	Prev   []byte `db:"prev_hash"`
	Hash   []byte `db:"hash"`
	Body   []byte `db:"body"`
}

// Verify checks every stream of the plant from its first entry on: no hole, each
// entry bound to the one before it, each hash that of its bytes, and the bytes
// saying the same place as the row; and then that every entry is in the log or in
// line for it, and that the log says what was signed of it. It returns how many
// entries it checked and the first that is wrong as an error.
func Verify(ctx context.Context, tx *pg.Tx) (int, error) {
	var rows []Stored
	const all = `select stream, seq, prev_hash, hash, body from trail_entry where plant_id = $1 order by stream, seq`
	if err := tx.SelectContext(ctx, &rows, all, tx.Plant); err != nil {
		return 0, fmt.Errorf("trail: %w", err)
	}
	last := Stored{Hash: make([]byte, sha256.Size)}
	for _, r := range rows {
		if r.Stream != last.Stream {
			last = Stored{Stream: r.Stream, Hash: make([]byte, sha256.Size)}
		}
		if err := follows(last, r); err != nil {
			return len(rows), fmt.Errorf("trail %s entry %d: %w", r.Stream, r.Seq, err)
		}
		last = r
	}
	return len(rows), verifyLog(ctx, tx)
}

func follows(last, r Stored) error {
	var said Record
	switch {
	case r.Seq != last.Seq+1:
		return fmt.Errorf("entry %d is missing", last.Seq+1)
	case !bytes.Equal(r.Prev, last.Hash):
		return fmt.Errorf("it is not bound to the entry before it")
	case !bytes.Equal(r.Hash, Hash(r.Body)):
		return fmt.Errorf("its bytes are not those that were hashed")
	}
	if err := json.Unmarshal(r.Body, &said); err != nil {
		return fmt.Errorf("its bytes cannot be read: %w", err)
	}
	if said.Stream != r.Stream || said.Seq != r.Seq || !bytes.Equal(said.Prev, r.Prev) {
		return fmt.Errorf("its bytes speak of %s entry %d", said.Stream, said.Seq)
	}
	return nil
}

// After returns up to limit entries of a stream after a place in it.
func After(ctx context.Context, tx *pg.Tx, stream string, after int64, limit int) ([]Stored, error) {
	const q = `select stream, seq, prev_hash, hash, body from trail_entry
		where plant_id = $1 and stream = $2 and seq > $3 order by seq limit $4`
	var list []Stored
	if err := tx.SelectContext(ctx, &list, q, tx.Plant, stream, after, limit); err != nil {
		return nil, fmt.Errorf("trail %s: %w", stream, err)
	}
	return list, nil
}
