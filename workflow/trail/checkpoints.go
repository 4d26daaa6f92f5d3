package trail

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"golang.org/x/mod/sumdb/tlog"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail/checkpoint"
)

// Signed is a checkpoint that was signed.
type Signed struct {
	Restored int       `db:"restored"`
	Size     int64     `db:"size"`
	Root     []byte    `db:"root"`
	Note     []byte    `db:"note"`
	Key      string    `db:"key"` // the verifier key
	SignedAt time.Time `db:"signed_at"`
}

// Latest returns the newest checkpoint of the plant's log. fault.NotFound: none
// was signed yet.
func Latest(ctx context.Context, tx *pg.Tx) (s Signed, err error) {
	const q = `select restored, size, root, note, key, signed_at from checkpoint where plant_id = $1 order by restored desc, size desc limit 1`
	err = tx.GetContext(ctx, &s, q, tx.Plant)
	if errors.Is(err, sql.ErrNoRows) {
		return s, fault.New(fault.NotFound, "no-checkpoint", "no checkpoint of the log has been signed yet")
	}
	return s, err
}

// Sign signs a checkpoint of the log as it is and returns it; nil: the newest
// covers it, or another is at it. It refuses to contradict what was signed
// before: then somebody changed the log behind the engine's back.
func Sign(ctx context.Context, tx *pg.Tx, key *checkpoint.Key) ([]byte, error) {
	mine, err := tx.OwnLog(ctx)
	if err != nil || !mine {
		return nil, err
	}
	size, err := LogSize(ctx, tx)
	if err != nil || size == 0 {
		return nil, err
	}
	restored, err := timesRestored(ctx, tx)
	if err != nil {
		return nil, err
	}
	last, err := Latest(ctx, tx)
	if err != nil && !errors.Is(err, fault.NotFound) {
		return nil, err
	}
	if err == nil && last.Restored == restored {
		if last.Size == size {
			return nil, nil
		}
		if wrong, err := contradicts(ctx, tx, size, last.Size, last.Root); err != nil || wrong != "" {
			return nil, errors.Join(err, errors.New("checkpoint: "+wrong))
		}
	}
	root, err := Root(ctx, tx, size)
	if err != nil {
		return nil, fmt.Errorf("checkpoint: %w", err)
	}
	plant, err := plantName(ctx, tx)
	if err != nil {
		return nil, err
	}
	signed, err := checkpoint.Checkpoint{Origin: checkpoint.Origin(plant, restored), Size: size, Root: root}.Sign(key)
	if err != nil {
		return nil, fmt.Errorf("checkpoint: %w", err)
	}
	const add = `insert into checkpoint (plant_id, restored, size, root, note, key, signed_at) values ($1, $2, $3, $4, $5, $6, $7)`
	if _, err := tx.ExecContext(ctx, add, tx.Plant, restored, size, root[:], signed, key.String(), tx.Now); err != nil {
		return nil, fmt.Errorf("checkpoint: %w", err)
	}
	return signed, nil
}

// contradicts says in words how a log of a size contradicts what was seen of it;
// empty: it does not.
func contradicts(ctx context.Context, tx *pg.Tx, size, seen int64, root []byte) (string, error) {
	if size < seen {
		return fmt.Sprintf("the log has %d entries and had %d", size, seen), nil
	}
	now, err := Root(ctx, tx, seen)
	if err != nil {
		return "", fmt.Errorf("checkpoint: %w", err)
	}
	if !bytes.Equal(now[:], root) {
		return fmt.Sprintf("the first %d entries of the log are not those that they were", seen), nil
	}
	return "", nil
}

func plantName(ctx context.Context, tx *pg.Tx) (name string, err error) {
	err = tx.GetContext(ctx, &name, `select name from plant where plant_id = $1`, tx.Plant)
	return name, err
}

func timesRestored(ctx context.Context, tx *pg.Tx) (n int, err error) {
	err = tx.GetContext(ctx, &n, `select coalesce(max(restored), 0) from log_restored where plant_id = $1`, tx.Plant)
	return n, err
}

// Witnessed compares the plant's log with a checkpoint that a witness outside has
// of it, and says in words how it has gone back; empty: it has not. A log that
// was accepted since (AcceptRestored) has another name, and the old one's
// checkpoints say nothing of it.
func Witnessed(ctx context.Context, tx *pg.Tx, seen checkpoint.Checkpoint) (string, error) {
	restored, err := timesRestored(ctx, tx)
	if err != nil {
		return "", err
	}
	_, then, _ := checkpoint.PlantOf(seen.Origin)
	switch {
	case then < restored:
		return "", nil
	case then > restored:
		return fmt.Sprintf("the log was restored %d times and knows of %d", then, restored), nil
	}
	size, err := LogSize(ctx, tx)
	if err != nil {
		return "", err
	}
	return contradicts(ctx, tx, size, seen.Size, seen.Root[:])
}

// AcceptRestored notes that an operator lets the log go on although a witness
// saw more of it. From then on it has another name.
func AcceptRestored(ctx context.Context, tx *pg.Tx, witnessed []byte, reason string) error {
	restored, err := timesRestored(ctx, tx)
	if err != nil {
		return err
	}
	seen, _, _ := bytes.Cut(witnessed, []byte("\n"))
	if _, then, ok := checkpoint.PlantOf(string(seen)); ok {
		restored = max(restored, then)
	}
	size, err := LogSize(ctx, tx)
	if err != nil {
		return err
	}
	const add = `insert into log_restored (plant_id, restored, witnessed, size, reason, accepted_at, accepted_by) values ($1, $2, $3, $4, $5, $6, $7)`
	if _, err := tx.ExecContext(ctx, add, tx.Plant, restored+1, witnessed, size, reason, tx.Now, tx.By.ID); err != nil {
		return fmt.Errorf("log: %w", err)
	}
	return Append(ctx, tx, Entry{Stream: "administration", Action: "log.restored", Subject: "log", Version: restored + 1,
		Before: map[string]any{"witnessed": string(witnessed)}, After: map[string]any{"size": size}, Reason: reason})
}

// Proof is that an entry is in the log.
type Proof struct {
	Stored
	Leaf  int64
	Proof tlog.RecordProof
}

// Prove returns an entry, by its number in the plant, with the proof that it is
// in the log at the newest checkpoint. fault.Refused: it came after it.
func Prove(ctx context.Context, tx *pg.Tx, entry int64) (p Proof, s Signed, err error) {
	if s, err = Latest(ctx, tx); err != nil {
		return p, s, err
	}
	var row struct {
		Stored
		Leaf *int64 `db:"tree_index"`
	}
	const q = `select stream, seq, prev_hash, hash, body, tree_index from trail_entry left join trail_leaf using (plant_id, entry_id)
		where plant_id = $1 and entry_id = $2`
	err = tx.GetContext(ctx, &row, q, tx.Plant, entry)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return p, s, fault.New(fault.NotFound, "unknown-entry", "the trail has no entry %d", entry)
	case err != nil:
		return p, s, err
	case row.Leaf == nil || *row.Leaf >= s.Size:
		return p, s, fault.New(fault.Refused, "not-covered", "no checkpoint covers entry %d yet: ask again in a few seconds", entry)
	}
	p = Proof{Stored: row.Stored, Leaf: *row.Leaf}
	p.Proof, err = Inclusion(ctx, tx, p.Leaf, s.Size)
	return p, s, err
}
