package trail

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"

	"golang.org/x/mod/sumdb/tlog"

	"lastgood/workflow/pg"
)

// InLine returns how many entries have no leaf yet: they stand in line for the
// log, and no checkpoint covers them.
func InLine(ctx context.Context, tx *pg.Tx) (n int, err error) {
	err = tx.GetContext(ctx, &n, `select count(*) from trail_pending where plant_id = $1`, tx.Plant)
	return n, err
}

// verifyLog checks that no entry has been lost on its way into the log, that each
// leaf is the hash of its entry, and that the entries give the root of every
// checkpoint that was signed of the log as it is named now.
func verifyLog(ctx context.Context, tx *pg.Tx) error {
	var lost Stored
	const nowhere = `select stream, seq from trail_entry e where plant_id = $1
		and not exists (select from trail_leaf l where l.plant_id = e.plant_id and l.entry_id = e.entry_id)
		and not exists (select from trail_pending p where p.plant_id = e.plant_id and p.entry_id = e.entry_id)
		order by entry_id limit 1`
	switch err := tx.GetContext(ctx, &lost, nowhere, tx.Plant); {
	case err == nil:
		return fmt.Errorf("trail %s entry %d: it is neither in the log nor in line for it", lost.Stream, lost.Seq)
	case !errors.Is(err, sql.ErrNoRows):
		return fmt.Errorf("trail: %w", err)
	}
	restored, err := timesRestored(ctx, tx)
	if err != nil {
		return err
	}
	roots := map[int64][]byte{}
	var signed []Signed
	const all = `select size, root from checkpoint where plant_id = $1 and restored = $2`
	if err := tx.SelectContext(ctx, &signed, all, tx.Plant, restored); err != nil {
		return fmt.Errorf("trail: %w", err)
	}
	for _, s := range signed {
		roots[s.Size] = s.Root
	}
	return verifyLeaves(ctx, tx, roots)
}

// verifyLeaves builds the tree anew from the hashes of the entries.
func verifyLeaves(ctx context.Context, tx *pg.Tx, roots map[int64][]byte) error {
	const leaves = `select l.tree_index, e.stream, e.seq, e.hash, h.hash as leaf from trail_leaf l join trail_entry e using (plant_id, entry_id)
		left join trail_hash h on h.plant_id = l.plant_id and h.level = 0 and h.idx = l.tree_index
		where l.plant_id = $1 order by l.tree_index`
	rows, err := tx.QueryxContext(ctx, leaves, tx.Plant)
	if err != nil {
		return fmt.Errorf("trail: %w", err)
	}
	defer rows.Close()
	var t peaks
	for n := int64(0); rows.Next(); n++ {
		var r struct {
			Stored
			Index int64  `db:"tree_index"`
			Leaf  []byte `db:"leaf"`
		}
		if err := rows.StructScan(&r); err != nil {
			return fmt.Errorf("trail: %w", err)
		}
		switch {
		case r.Index != n:
			return fmt.Errorf("log: leaf %d is missing", n)
		case !bytes.Equal(r.Leaf, r.Hash):
			return fmt.Errorf("trail %s entry %d: leaf %d of the log is not its hash", r.Stream, r.Seq, n)
		}
		t.add(tlog.Hash(r.Hash))
		if root, signed := roots[n+1]; signed {
			if got := t.root(); !bytes.Equal(root, got[:]) {
				return fmt.Errorf("log: its first %d leaves do not give the root that was signed of them", n+1)
			}
			delete(roots, n+1)
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("trail: %w", err)
	}
	for size := range roots {
		return fmt.Errorf("log: a checkpoint of %d leaves was signed, and there are not so many", size)
	}
	return nil
}

// peaks are the full trees of which a log is made, the largest first.
type peaks []peak

type peak struct {
	level int
	hash  tlog.Hash
}

func (t *peaks) add(leaf tlog.Hash) {
	p := peak{0, leaf}
	for n := len(*t); n > 0 && (*t)[n-1].level == p.level; n = len(*t) {
		p = peak{p.level + 1, tlog.NodeHash((*t)[n-1].hash, p.hash)}
		*t = (*t)[:n-1]
	}
	*t = append(*t, p)
}

// root is the hash of the log (RFC 6962, section 2.1): the trees put together
// from the right.
func (t peaks) root() tlog.Hash {
	h := t[len(t)-1].hash
	for i := len(t) - 2; i >= 0; i-- {
		h = tlog.NodeHash(t[i].hash, h)
	}
	return h
}
