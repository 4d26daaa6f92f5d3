package trail

import (
	"context"
	"fmt"

	"github.com/lib/pq"
	"golang.org/x/mod/sumdb/tlog"

	"lastgood/workflow/pg"
)

// The log is a Merkle tree over the entries of a plant, whatever their streams,
// in the order in which they became visible. A command does not write it, for
// the tree has one right edge and every writer would wait for it: a command puts
// its entry in line (trail_pending), and Sequence, one at a time in a plant, puts
// the line into the tree. An entry has no leaf for as long as it stands in line.

// mostSequenced bounds the leaves that one transaction adds.
const mostSequenced = 2000

// Sequence puts entries that stand in line into the log, in their order, and
// returns how many; 0: none, or another is at it.
func Sequence(ctx context.Context, tx *pg.Tx) (int, error) {
	mine, err := tx.OwnLog(ctx)
	if err != nil || !mine {
		return 0, err
	}
	var line []struct {
		Entry int64  `db:"entry_id"`
		Hash  []byte `db:"hash"`
	}
	const next = `select p.entry_id, e.hash from trail_pending p join trail_entry e using (plant_id, entry_id)
		where p.plant_id = $1 order by p.entry_id limit $2`
	if err := tx.SelectContext(ctx, &line, next, tx.Plant, mostSequenced); err != nil || len(line) == 0 {
		return 0, err
	}
	size, err := LogSize(ctx, tx)
	if err != nil {
		return 0, err
	}
	t := &edge{store: reader(ctx, tx), fresh: map[int64]tlog.Hash{}}
	if size > 0 { // one question for all hashes that new leaves can need
		if _, err := tlog.TreeHash(size, t); err != nil {
			return 0, fmt.Errorf("log: %w", err)
		}
	}
	ids := make([]int64, len(line))
	for i, e := range line {
		ids[i] = e.Entry
		if err := t.add(size+int64(i), e.Hash); err != nil {
			return 0, fmt.Errorf("log: leaf %d: %w", size+int64(i), err)
		}
	}
	if err := t.write(ctx, tx); err != nil {
		return 0, fmt.Errorf("log: %w", err)
	}
	const place = `with put as (insert into trail_leaf (plant_id, tree_index, entry_id)
		select $1, $2 + n - 1, e from unnest($3::bigint[]) with ordinality as x(e, n))
		delete from trail_pending where plant_id = $1 and entry_id = any($3)`
	if _, err := tx.ExecContext(ctx, place, tx.Plant, size, pq.Array(ids)); err != nil {
		return 0, fmt.Errorf("log: %w", err)
	}
	return len(line), nil
}

// LogSize returns how many leaves the plant's log has.
func LogSize(ctx context.Context, tx *pg.Tx) (size int64, err error) {
	err = tx.GetContext(ctx, &size, `select coalesce(max(tree_index) + 1, 0) from trail_leaf where plant_id = $1`, tx.Plant)
	return size, err
}

// edge is the right edge of the tree while leaves are added: what was stored of
// it before, and the new hashes.
type edge struct {
	store tlog.HashReader
	fresh map[int64]tlog.Hash // known by stored hash index, those of the store too
	added []int64             // in order
}

// ReadHashes returns stored hashes, asking the database for each only once.
func (t *edge) ReadHashes(at []int64) ([]tlog.Hash, error) {
	var missing []int64
	for _, i := range at {
		if _, known := t.fresh[i]; !known {
			missing = append(missing, i)
		}
	}
	if len(missing) > 0 {
		got, err := t.store.ReadHashes(missing)
		if err != nil {
			return nil, err
		}
		for i, h := range got {
			t.fresh[missing[i]] = h
		}
	}
	out := make([]tlog.Hash, len(at))
	for i, n := range at {
		out[i] = t.fresh[n]
	}
	return out, nil
}

func (t *edge) add(n int64, leaf []byte) error {
	more, err := tlog.StoredHashesForRecordHash(n, tlog.Hash(leaf), t)
	if err != nil {
		return err
	}
	from := tlog.StoredHashIndex(0, n)
	for i, h := range more {
		t.fresh[from+int64(i)] = h
		t.added = append(t.added, from+int64(i))
	}
	return nil
}

func (t *edge) write(ctx context.Context, tx *pg.Tx) error {
	levels, places, hashes := make([]int64, len(t.added)), make([]int64, len(t.added)), make([][]byte, len(t.added))
	for i, at := range t.added {
		level, n := tlog.SplitStoredHashIndex(at)
		h := t.fresh[at]
		levels[i], places[i], hashes[i] = int64(level), n, h[:]
	}
	const add = `insert into trail_hash (plant_id, level, idx, hash) select $1, l, i, h from unnest($2::int[], $3::bigint[], $4::bytea[]) as x(l, i, h)`
	_, err := tx.ExecContext(ctx, add, tx.Plant, pq.Array(levels), pq.Array(places), pq.ByteaArray(hashes))
	return err
}

// reader reads the hashes of the plant's log. A hash that is not there is an
// error: of a tree with a hole nothing is proved.
func reader(ctx context.Context, tx *pg.Tx) tlog.HashReaderFunc {
	return func(at []int64) ([]tlog.Hash, error) {
		levels, places := make([]int64, len(at)), make([]int64, len(at))
		for i, n := range at {
			level, place := tlog.SplitStoredHashIndex(n)
			levels[i], places[i] = int64(level), place
		}
		var rows [][]byte
		const q = `select h.hash from unnest($2::int[], $3::bigint[]) with ordinality as x(l, i, n)
			left join trail_hash h on h.plant_id = $1 and h.level = x.l and h.idx = x.i order by x.n`
		if err := tx.SelectContext(ctx, &rows, q, tx.Plant, pq.Array(levels), pq.Array(places)); err != nil {
			return nil, err
		}
		out := make([]tlog.Hash, len(at))
		for i, r := range rows {
			if len(r) != tlog.HashSize {
				return nil, fmt.Errorf("hash %d of level %d is missing", places[i], levels[i])
			}
			out[i] = tlog.Hash(r)
		}
		return out, nil
	}
}

// Root returns the root of the log when it had a size; the size must be more
// than 0 and not more than it has.
func Root(ctx context.Context, tx *pg.Tx, size int64) (tlog.Hash, error) {
	return tlog.TreeHash(size, reader(ctx, tx))
}

// Extension proves that the log at one size begins with what it was at a
// smaller.
func Extension(ctx context.Context, tx *pg.Tx, from, to int64) (tlog.TreeProof, error) {
	return tlog.ProveTree(to, from, reader(ctx, tx))
}

// Inclusion proves that a leaf is in the log at a size.
func Inclusion(ctx context.Context, tx *pg.Tx, leaf, size int64) (tlog.RecordProof, error) {
	return tlog.ProveRecord(size, leaf, reader(ctx, tx))
}

// Inclusions proves many leaves, with one question to the database: the proofs of
// neighbours have most of their hashes in common.
func Inclusions(ctx context.Context, tx *pg.Tx, leaves []int64, size int64) ([]tlog.RecordProof, error) {
	need := &wanted{seen: map[int64]bool{}}
	for _, n := range leaves {
		_, _ = tlog.ProveRecord(size, n, need) // only to hear what it asks for
	}
	known := &edge{store: reader(ctx, tx), fresh: map[int64]tlog.Hash{}}
	if _, err := known.ReadHashes(need.list); err != nil {
		return nil, fmt.Errorf("log: %w", err)
	}
	out := make([]tlog.RecordProof, len(leaves))
	for i, n := range leaves {
		var err error
		if out[i], err = tlog.ProveRecord(size, n, known); err != nil {
			return nil, fmt.Errorf("log: leaf %d: %w", n, err)
		}
	}
	return out, nil
}

// wanted remembers which hashes are asked for, and answers with nothing.
type wanted struct {
	seen map[int64]bool
	list []int64
}

// ReadHashes answers with zeroes.
func (w *wanted) ReadHashes(at []int64) ([]tlog.Hash, error) {
	for _, n := range at {
		if !w.seen[n] {
			w.seen[n] = true
			w.list = append(w.list, n)
		}
	}
	return make([]tlog.Hash, len(at)), nil
}
