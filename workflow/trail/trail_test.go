package trail_test

import (
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/google/go-cmp/cmp"

	"lastgood/workflow/actor"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
	"lastgood/workflow/trail"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

var now = time.Date(2025, 3, 1, 12, 0, 0, 1000, time.UTC)

type book struct {
	*testing.T
	db  *pg.DB
	sc  pg.Scope
	dsn pgtest.DBs
}

func open(t *testing.T) *book {
	t.Helper()
	dsn := pgtest.DB(t)
	db, err := pg.Open(t.Context(), dsn.App, func() time.Time { return now })
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	id, err := db.CreatePlant(t.Context(), "Alder Hill", "UTC", nil)
	if err != nil {
		t.Fatal(err)
	}
	return &book{t, db, pg.Scope{Plant: id, By: actor.Actor{ID: "qa-1", Kind: actor.Person}, Cause: "a test"}, dsn}
}

func (b *book) append(stream string, entries ...trail.Entry) {
	b.Helper()
	err := b.db.InTx(b.Context(), b.sc, func(tx *pg.Tx) error {
		for _, e := range entries {
			e.Stream = stream
			if err := trail.Append(b.Context(), tx, e); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		b.Error(err)
	}
}

func (b *book) verify() (n int, err error) {
	b.Helper()
	err = b.db.Read(b.Context(), b.sc, func(tx *pg.Tx) error {
		n, err = trail.Verify(b.Context(), tx)
		return err
	})
	return n, err
}

// design notes on standards, §11: the root of the tree of one empty leaf, which is the leaf's
// own hash (RFC 6962 §2.1).
func TestHashIsThatOfALeaf(t *testing.T) {
	t.Parallel()
	const want = "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"
	if got := hex.EncodeToString(trail.Hash(nil)); got != want {
		t.Errorf("hash of nothing is %s, want %s", got, want)
	}
}

func TestEntrySaysWhoWhatAndWhen(t *testing.T) {
	t.Parallel()
	b := open(t)
	happened := time.Date(2025, 2, 28, 9, 0, 0, 999, time.FixedZone("", 3600))
	b.append("deviation/1",
		trail.Entry{Action: "deviation.opened", Subject: "T-1", Version: 1, HappenedAt: happened, After: map[string]any{"b": 2, "a": 1}},
		trail.Entry{Action: "deviation.contain", Subject: "T-1", Version: 2, Before: "detected", After: "contained", Reason: "counted"})
	var bodies []string
	err := b.db.Read(b.Context(), b.sc, func(tx *pg.Tx) error {
		return tx.SelectContext(b.Context(), &bodies, `select convert_from(body, 'UTF8') from trail_entry order by seq`)
	})
	if err != nil {
		t.Fatal(err)
	}
	if len(bodies) != 2 {
		t.Fatalf("%d entries", len(bodies))
	}
	// The bytes are canonical: the members in their order, those of values sorted.
	zero := strings.Repeat("A", 43) + "=" // 32 zero bytes in base64
	want := `{"stream":"deviation/1","seq":1,"prev":"` + zero + `","happened_at":"2025-02-28T08:00:00Z",` +
		`"recorded_at":"2025-03-01T12:00:00.000001Z","actor":"qa-1","kind":"person","action":"deviation.opened",` +
		`"subject":"T-1","version":1,"after":{"a":1,"b":2},"cause":"a test"}`
	if d := cmp.Diff(want, bodies[0]); d != "" {
		t.Errorf("first entry (-want +got):\n%s", d)
	}
	var second trail.Record
	if err := json.Unmarshal([]byte(bodies[1]), &second); err != nil {
		t.Fatal(err)
	}
	hash := sha256.Sum256(append([]byte{0}, bodies[0]...))
	wantSecond := trail.Record{Stream: "deviation/1", Seq: 2, Prev: hash[:], HappenedAt: now, RecordedAt: now, Actor: "qa-1", Kind: "person",
		Action: "deviation.contain", Subject: "T-1", Version: 2, Before: "detected", After: "contained", Reason: "counted", Cause: "a test"}
	if d := cmp.Diff(wantSecond, second); d != "" {
		t.Errorf("second entry (-want +got):\n%s", d)
	}
}

func TestEveryEntryAwaitsTheLog(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.append("a", trail.Entry{Action: "x"}, trail.Entry{Action: "y"})
	b.append("b", trail.Entry{Action: "z"})
	var missing int
	err := b.db.Read(b.Context(), b.sc, func(tx *pg.Tx) error {
		return tx.GetContext(b.Context(), &missing, `select count(*) from trail_entry e where not exists (
			select from trail_pending p where p.plant_id = e.plant_id and p.entry_id = e.entry_id)`)
	})
	if err != nil || missing != 0 {
		t.Errorf("%d entries will never be in the log, %v", missing, err)
	}
	if n, err := b.verify(); n != 3 || err != nil {
		t.Errorf("%d entries verified, %v", n, err)
	}
}

// Sixteen at once append to two streams: no entry is lost and none is doubled.
func TestAppendsAtOnceLeaveNoHole(t *testing.T) {
	t.Parallel()
	b := open(t)
	var done sync.WaitGroup
	for i := range 16 {
		done.Go(func() {
			for n := range 5 {
				b.append(fmt.Sprint("stream/", i%2), trail.Entry{Action: "counted", Subject: fmt.Sprint(i, n)})
			}
		})
	}
	done.Wait()
	if n, err := b.verify(); n != 80 || err != nil {
		t.Errorf("%d entries verified, %v", n, err)
	}
}

func TestWhatIsRolledBackLeavesNoHole(t *testing.T) {
	t.Parallel()
	b := open(t)
	b.append("a", trail.Entry{Action: "x"})
	undo := fmt.Errorf("undo")
	if err := b.db.InTx(b.Context(), b.sc, func(tx *pg.Tx) error {
		if err := trail.Append(b.Context(), tx, trail.Entry{Stream: "a", Action: "undone"}); err != nil {
			return err
		}
		return undo
	}); err != undo {
		t.Fatal(err)
	}
	b.append("a", trail.Entry{Action: "y"})
	if n, err := b.verify(); n != 2 || err != nil {
		t.Errorf("%d entries verified, %v", n, err)
	}
}

// Whoever gets behind the engine's back and past the triggers is found out, and
// the entry that was altered is named.
func TestAlteredEntryIsNamed(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct{ change, says string }{
		"body":              {`update trail_entry set body = replace(convert_from(body, 'UTF8'), 'qa-1', 'qa-2')::bytea where stream = 'b' and seq = 2`, "trail b entry 2: its bytes are not those that were hashed"},
		"body and hash":     {`update trail_entry set body = x.b, hash = sha256('\x00'::bytea || x.b) from (select replace(convert_from(body, 'UTF8'), 'qa-1', 'qa-2')::bytea b from trail_entry where stream = 'b' and seq = 2) x where stream = 'b' and seq = 2`, "trail b entry 3: it is not bound to the entry before it"},
		"hash":              {`update trail_entry set hash = sha256('x') where stream = 'b' and seq = 2`, "trail b entry 2: its bytes are not those that were hashed"},
		"link":              {`update trail_entry set prev_hash = sha256('x') where stream = 'b' and seq = 2`, "trail b entry 2: it is not bound to the entry before it"},
		"place":             {`update trail_entry set seq = 9 where stream = 'b' and seq = 3`, "trail b entry 9: entry 3 is missing"},
		"taken out":         {`delete from trail_pending; delete from trail_entry where stream = 'b' and seq = 2`, "trail b entry 3: entry 2 is missing"},
		"first taken out":   {`delete from trail_pending; delete from trail_entry where stream = 'b' and seq = 1`, "trail b entry 2: entry 1 is missing"},
		"moved to another":  {`update trail_entry set stream = 'c' where stream = 'b'`, "trail c entry 1: its bytes speak of b entry 1"},
		"place and the two": {`update trail_entry set seq = -seq + 10 where stream = 'b'; update trail_entry set seq = seq - 6 where stream = 'b'`, "trail b entry 1: it is not bound to the entry before it"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := open(t)
			b.append("a", trail.Entry{Action: "x"})
			b.append("b", trail.Entry{Action: "x"}, trail.Entry{Action: "y"}, trail.Entry{Action: "z"})
			b.append("d", trail.Entry{Action: "x"})
			b.behindTheBack(c.change)
			if _, err := b.verify(); err == nil || err.Error() != c.says {
				t.Errorf("%v, want %s", err, c.says)
			}
		})
	}
}

// behindTheBack changes rows with the triggers off.
func (b *book) behindTheBack(change string) {
	b.Helper()
	db, err := sql.Open("postgres", b.dsn.Admin)
	if err != nil {
		b.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("set session_replication_role = replica; " + change); err != nil {
		b.Fatal(err)
	}
}
