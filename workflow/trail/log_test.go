package trail_test

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"golang.org/x/mod/sumdb/tlog"

	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
	"lastgood/workflow/trail/checkpoint"
)

func newKey(t testing.TB) *checkpoint.Key {
	t.Helper()
	k, err := checkpoint.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	return k
}

// sequence puts the line into the log and returns how many entries it took.
func (b *book) sequence() (n int) {
	b.Helper()
	if err := b.db.InTx(b.Context(), b.sc, func(tx *pg.Tx) (err error) {
		n, err = trail.Sequence(b.Context(), tx)
		return err
	}); err != nil {
		b.Error(err)
	}
	return n
}

func (b *book) sign(k *checkpoint.Key) (signed []byte, err error) {
	err = b.db.InTx(b.Context(), b.sc, func(tx *pg.Tx) (err error) {
		signed, err = trail.Sign(b.Context(), tx, k)
		return err
	})
	return signed, err
}

// read runs a question and fails on an error.
func read[A any](b *book, f func(*pg.Tx) (A, error)) (a A) {
	b.Helper()
	if err := b.db.Read(b.Context(), b.sc, func(tx *pg.Tx) (err error) {
		a, err = f(tx)
		return err
	}); err != nil {
		b.Error(err)
	}
	return a
}

// A log that grows by a few entries at a time has the root of one that is made
// at once, proves each entry, and proves that it was only added to; every
// checkpoint is signed once.
func TestLogGrowsAndProvesItself(t *testing.T) {
	t.Parallel()
	b, k := open(t), newKey(t)
	var all []tlog.Hash
	at := tlog.HashReaderFunc(func(at []int64) ([]tlog.Hash, error) {
		out := make([]tlog.Hash, len(at))
		for i, n := range at {
			out[i] = all[n]
		}
		return out, nil
	})
	type point struct {
		size int64
		root tlog.Hash
	}
	var before []point
	size := int64(0)
	for round, n := range []int{1, 2, 1, 4, 7, 1, 16, 3} {
		for i := range n {
			b.append(fmt.Sprint("stream/", i%3), trail.Entry{Action: "counted", Subject: fmt.Sprint(round, i)})
		}
		if got := b.sequence(); got != n {
			t.Fatalf("round %d: %d entries were put into the log, want %d", round, got, n)
		}
		bodies := read(b, func(tx *pg.Tx) (list [][]byte, err error) {
			return list, tx.SelectContext(b.Context(), &list, `select body from trail_leaf join trail_entry using (plant_id, entry_id)
				where tree_index >= $1 order by tree_index`, size)
		})
		for _, body := range bodies {
			more, err := tlog.StoredHashes(size, body, at)
			if err != nil {
				t.Fatal(err)
			}
			all, size = append(all, more...), size+1
		}
		want, err := tlog.TreeHash(size, at)
		if err != nil {
			t.Fatal(err)
		}
		signed, err := b.sign(k)
		if err != nil {
			t.Fatal(err)
		}
		c, err := checkpoint.Open(signed, k.Verifier())
		if err != nil || c.Size != size || c.Root != want || c.Origin != "lastgood/Alder%20Hill" {
			t.Fatalf("%+v, %v", c, err)
		}
		if again, err := b.sign(k); again != nil || err != nil {
			t.Errorf("nothing is new, and %q is signed: %v", again, err)
		}
		for _, p := range before {
			proof := read(b, func(tx *pg.Tx) (tlog.TreeProof, error) { return trail.Extension(b.Context(), tx, p.size, size) })
			if err := tlog.CheckTree(proof, size, want, p.size, p.root); err != nil {
				t.Errorf("%d to %d: %v", p.size, size, err)
			}
		}
		before = append(before, point{size, want})
		leaves := make([]int64, size)
		for i := range leaves {
			leaves[i] = int64(i)
		}
		proofs := read(b, func(tx *pg.Tx) ([]tlog.RecordProof, error) { return trail.Inclusions(b.Context(), tx, leaves, size) })
		for i, p := range proofs {
			if err := tlog.CheckRecord(p, size, want, int64(i), all[tlog.StoredHashIndex(0, int64(i))]); err != nil {
				t.Errorf("leaf %d of %d: %v", i, size, err)
			}
		}
		if n, err := b.verify(); int64(n) != size || err != nil {
			t.Errorf("%d entries verified: %v", n, err)
		}
	}
}

// Writers and sequencers at once: every entry gets one leaf, and none is lost.
func TestSequencersAtOnceLoseNothing(t *testing.T) {
	t.Parallel()
	b := open(t)
	var done sync.WaitGroup
	for i := range 8 {
		done.Go(func() {
			for n := range 5 {
				b.append(fmt.Sprint("stream/", i), trail.Entry{Action: "counted", Subject: fmt.Sprint(n)})
				b.sequence()
			}
		})
	}
	done.Wait()
	b.sequence()
	leaves := read(b, func(tx *pg.Tx) (int64, error) { return trail.LogSize(b.Context(), tx) })
	line := read(b, func(tx *pg.Tx) (int, error) { return trail.InLine(b.Context(), tx) })
	if leaves != 40 || line != 0 {
		t.Errorf("%d leaves and %d in line of 40 entries", leaves, line)
	}
	if _, err := b.verify(); err != nil {
		t.Error(err)
	}
}

func TestProofIsOfWhatACheckpointCovers(t *testing.T) {
	t.Parallel()
	b, k := open(t), newKey(t)
	b.append("a", trail.Entry{Action: "x"})
	id := read(b, func(tx *pg.Tx) (id int64, err error) {
		return id, tx.GetContext(b.Context(), &id, `select max(entry_id) from trail_entry`)
	})
	prove := func(entry int64) (p trail.Proof, s trail.Signed, err error) {
		err = b.db.Read(b.Context(), b.sc, func(tx *pg.Tx) error { p, s, err = trail.Prove(b.Context(), tx, entry); return err })
		return p, s, err
	}
	if _, _, err := prove(id); fault.KindOf(err) != fault.NotFound {
		t.Errorf("no checkpoint: %v", err)
	}
	b.sequence()
	if _, err := b.sign(k); err != nil {
		t.Fatal(err)
	}
	p, s, err := prove(id)
	if err != nil {
		t.Fatal(err)
	}
	if err := tlog.CheckRecord(p.Proof, s.Size, tlog.Hash(s.Root), p.Leaf, tlog.RecordHash(p.Body)); err != nil {
		t.Error(err)
	}
	b.append("a", trail.Entry{Action: "y"})
	if _, _, err := prove(id + 1); !errors.Is(err, fault.Refused) {
		t.Errorf("an entry that no checkpoint covers: %v", err)
	}
	if _, _, err := prove(id + 2); !errors.Is(err, fault.NotFound) {
		t.Errorf("no entry: %v", err)
	}
}

// A database that went back, or whose history was written anew with all hashes
// right, contradicts what a witness has.
func TestLogThatWentBackIsFoundOut(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ change, says string }{
		"restored": {`delete from checkpoint; delete from trail_leaf where tree_index >= 2; delete from trail_hash where level = 0 and idx >= 2 or level = 1 and idx >= 1 or level > 1;
			delete from trail_entry where stream = 'a' and seq > 2`, "the log has 2 entries and had 5"},
		"rewritten": {`delete from checkpoint; delete from trail_leaf; delete from trail_hash; insert into trail_pending select plant_id, entry_id from trail_entry;
			update trail_entry set body = 'other', hash = sha256('\x006f74686572'::bytea) where seq = 5`, "the first 5 entries of the log are not those that they were"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b, k := open(t), newKey(t)
			for range 5 {
				b.append("a", trail.Entry{Action: "x"})
			}
			b.sequence()
			signed, err := b.sign(k)
			if err != nil {
				t.Fatal(err)
			}
			seen, err := checkpoint.Open(signed, k.Verifier())
			if err != nil {
				t.Fatal(err)
			}
			ask := func() string {
				return read(b, func(tx *pg.Tx) (string, error) { return trail.Witnessed(b.Context(), tx, seen) })
			}
			if says := ask(); says != "" {
				t.Fatalf("nothing happened: %s", says)
			}
			b.behindTheBack(c.change)
			b.sequence()
			if says := ask(); says != c.says {
				t.Errorf("%q, want %q", says, c.says)
			}
			if err := b.db.InTx(b.Context(), b.sc, func(tx *pg.Tx) error {
				return trail.AcceptRestored(b.Context(), tx, signed, "the disk broke")
			}); err != nil {
				t.Fatal(err)
			}
			if says := ask(); says != "" {
				t.Errorf("accepted: %s", says)
			}
			b.sequence()
			again, err := b.sign(k)
			if err != nil || !strings.HasPrefix(string(again), "lastgood/Alder%20Hill/restored-1\n") {
				t.Errorf("%q, %v: it must be a log of another name", again, err)
			}
		})
	}
}

// What was signed is not contradicted by the same key: the server would rather
// sign nothing.
func TestNothingIsSignedThatContradicts(t *testing.T) {
	t.Parallel()
	b, k := open(t), newKey(t)
	b.append("a", trail.Entry{Action: "x"}, trail.Entry{Action: "y"})
	b.sequence()
	if _, err := b.sign(k); err != nil {
		t.Fatal(err)
	}
	b.behindTheBack(`update trail_hash set hash = sha256('x') where level = 1`)
	b.append("a", trail.Entry{Action: "z"})
	b.sequence()
	if signed, err := b.sign(k); err == nil || !strings.Contains(err.Error(), "the first 2 entries") {
		t.Errorf("%q, %v", signed, err)
	}
}

func TestVerifyLooksAtTheLogToo(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ change, says string }{
		"lost":          {`delete from trail_leaf where tree_index = 2; delete from trail_hash where idx = 2 and level = 0`, "trail a entry 3: it is neither in the log nor in line for it"},
		"hole":          {`delete from trail_leaf where tree_index = 1; insert into trail_pending select plant_id, entry_id from trail_entry where seq = 2`, "log: leaf 1 is missing"},
		"leaf":          {`update trail_hash set hash = sha256('x') where level = 0 and idx = 1`, "trail a entry 2: leaf 1 of the log is not its hash"},
		"order":         {`update trail_leaf set tree_index = tree_index + 10; update trail_leaf set tree_index = case tree_index when 10 then 1 when 11 then 0 else 2 end`, "trail a entry 2: leaf 0 of the log is not its hash"},
		"root":          {`update checkpoint set root = sha256('x')`, "log: its first 3 leaves do not give the root that was signed of them"},
		"longer before": {`update checkpoint set size = 7`, "log: a checkpoint of 7 leaves was signed, and there are not so many"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := open(t)
			b.append("a", trail.Entry{Action: "x"}, trail.Entry{Action: "y"}, trail.Entry{Action: "z"})
			b.sequence()
			if _, err := b.sign(newKey(t)); err != nil {
				t.Fatal(err)
			}
			if _, err := b.verify(); err != nil {
				t.Fatal(err)
			}
			b.behindTheBack(c.change)
			if _, err := b.verify(); err == nil || err.Error() != c.says {
				t.Errorf("%v, want %s", err, c.says)
			}
		})
	}
}
