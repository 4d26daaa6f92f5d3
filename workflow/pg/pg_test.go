package pg_test

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"sync"
	"testing"
	"time"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

// noon has nanoseconds, which no row may have.
func noon() time.Time {
	return time.Date(2025, 3, 1, 13, 0, 0, 123456789, time.FixedZone("", 3600))
}

func open(t *testing.T) (*pg.DB, pg.Scope, pgtest.DBs) {
	t.Helper()
	dsn := pgtest.DB(t)
	db, err := pg.Open(t.Context(), dsn.App, noon)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db, pg.Scope{Plant: plant(t, db, "Alder Hill"), By: actor.Actor{ID: "qa-1", Kind: actor.Person}}, dsn
}

func plant(t *testing.T, db *pg.DB, name string) pg.PlantID {
	t.Helper()
	id, err := db.CreatePlant(t.Context(), name, "UTC", nil)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func admin(t *testing.T, dsn pgtest.DBs) *sql.DB {
	t.Helper()
	db, err := sql.Open("postgres", dsn.Admin)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func TestOpenRefusesWhoCannotBeRefused(t *testing.T) {
	t.Parallel()
	dsn := pgtest.DB(t)
	u, err := url.Parse(dsn.App)
	if err != nil {
		t.Fatal(err)
	}
	// A role of this test's own; roles are the server's, not the database's.
	const role = "lastgood_test_bypass"
	for _, q := range []string{"create role " + role + " bypassrls", "grant " + role + " to lastgood_app"} {
		if _, err := admin(t, dsn).Exec(q); err != nil {
			t.Fatal(err)
		}
	}
	t.Cleanup(func() {
		if _, err := admin(t, dsn).Exec("drop role " + role); err != nil {
			t.Error(err)
		}
	})
	v := u.Query()
	v.Set("role", role)
	u.RawQuery = v.Encode()
	for who, s := range map[string]string{"owner": dsn.Owner, "superuser": dsn.Admin, "one that row security does not bind": u.String()} {
		db, err := pg.Open(t.Context(), s, noon)
		if err == nil {
			db.Close()
			t.Errorf("the %s was let in", who)
		}
	}
	db, err := pg.Open(t.Context(), dsn.App, noon)
	if err != nil {
		t.Fatalf("the application: %v", err)
	}
	db.Close()
	if _, err := pg.Open(t.Context(), "not a connection string", noon); err == nil {
		t.Error("nonsense was let in")
	}
}

func TestTransactionHasOneTimeAndOnePlant(t *testing.T) {
	t.Parallel()
	db, sc, _ := open(t)
	for name, unit := range map[string]func(context.Context, pg.Scope, func(*pg.Tx) error) error{"InTx": db.InTx, "Read": db.Read} {
		err := unit(t.Context(), sc, func(tx *pg.Tx) error {
			if want := time.Date(2025, 3, 1, 12, 0, 0, 123456000, time.UTC); !tx.Now.Equal(want) || tx.Now.Location() != time.UTC {
				t.Errorf("%s: now is %v, want %v", name, tx.Now, want)
			}
			var seen int
			if err := tx.GetContext(t.Context(), &seen, `select lastgood_plant()`); err != nil || seen != int(sc.Plant) {
				t.Errorf("%s: sees plant %d, %v; want %d", name, seen, err, sc.Plant)
			}
			return nil
		})
		if err != nil {
			t.Error(err)
		}
	}
	// The plant ends with the transaction, on the connection that is used again.
	for range 30 {
		err := db.Read(t.Context(), pg.Scope{}, func(tx *pg.Tx) error {
			var n int
			err := tx.GetContext(t.Context(), &n, `select count(*) from plant`)
			if n != 0 {
				t.Errorf("without a plant %d are seen", n)
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

func TestReadWritesNothing(t *testing.T) {
	t.Parallel()
	db, sc, _ := open(t)
	err := db.Read(t.Context(), sc, func(tx *pg.Tx) error {
		_, err := tx.ExecContext(t.Context(), `insert into location (plant_id, code) values ($1, 'x')`, tx.Plant)
		return err
	})
	if err == nil {
		t.Error("a read wrote a row")
	}
}

func TestConstraintsBecomeFaults(t *testing.T) {
	t.Parallel()
	db, sc, _ := open(t)
	_, err := db.CreatePlant(t.Context(), "Alder Hill", "UTC", nil)
	wantFault(t, err, fault.Conflict, "duplicate")
	_, err = db.FindPlant(t.Context(), "nowhere")
	wantFault(t, err, fault.NotFound, "unknown-plant")
	for name, c := range map[string]struct {
		q    string
		kind fault.Kind
		rule string
	}{
		"month past":    {`select ensure_reading_month('1989-12-01')`, fault.Invalid, "out-of-range"},
		"month to come": {`select ensure_reading_month('9999-01-01')`, fault.Invalid, "out-of-range"},
		"record":        {`update trail_entry set seq = seq`, fault.Internal, ""},
		"nothing there": {`select 1 where false`, fault.NotFound, "not-found"},
		"ends first": {`with l as (insert into lot (plant_id, code, made_from, made_until, registered)
			values (lastgood_plant(), 'x', '2025-03-02', '2025-03-01', true) returning 1) select 1 from l`, fault.Invalid, "out-of-range"},
		"not ours to explain": {`select 1 / 0`, fault.Internal, ""},
	} {
		err := db.InTx(t.Context(), sc, func(tx *pg.Tx) error {
			var s string
			return tx.GetContext(t.Context(), &s, c.q)
		})
		if err == nil {
			t.Errorf("%s: no error", name)
			continue
		}
		if fault.KindOf(err) != c.kind {
			t.Errorf("%s: %v is %s, want %s", name, err, fault.KindOf(err), c.kind)
		}
		if c.rule != "" {
			wantFault(t, err, c.kind, c.rule)
		}
	}
}

func wantFault(t *testing.T, err error, k fault.Kind, rule string) {
	t.Helper()
	var f *fault.Error
	if !errors.As(err, &f) || f.Kind != k || f.Rule != rule {
		t.Errorf("%v: want %s %s", err, k, rule)
	}
}

func TestCancelledContextIsWhatIsSaid(t *testing.T) {
	t.Parallel()
	db, sc, _ := open(t)
	ctx, cancel := context.WithCancel(t.Context())
	err := db.InTx(ctx, sc, func(tx *pg.Tx) error {
		if _, err := tx.ExecContext(ctx, `insert into location (plant_id, code) values ($1, 'x')`, tx.Plant); err != nil {
			return err
		}
		cancel()
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
	if n := locations(t, db, sc); n != 0 {
		t.Errorf("%d rows were left", n)
	}
}

func locations(t *testing.T, db *pg.DB, sc pg.Scope) (n int) {
	t.Helper()
	err := db.Read(t.Context(), sc, func(tx *pg.Tx) error {
		return tx.GetContext(t.Context(), &n, `select count(*) from location`)
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// A panic in a command gives its connection back and leaves nothing: twice as
// many as the pool has connections.
func TestPanicLeavesNothing(t *testing.T) {
	t.Parallel()
	db, sc, _ := open(t)
	for range 40 {
		func() {
			defer func() {
				if recover() != "oops" {
					t.Error("the panic was swallowed")
				}
			}()
			t.Error(db.InTx(t.Context(), sc, func(tx *pg.Tx) error {
				if _, err := tx.ExecContext(t.Context(), `insert into location (plant_id, code) values ($1, 'x')`, tx.Plant); err != nil {
					t.Error(err)
				}
				panic("oops")
			}))
		}()
	}
	if n := locations(t, db, sc); n != 0 {
		t.Errorf("%d rows were left", n)
	}
}

// Two that wait for each other: PostgreSQL ends one of them, and it is run
// again.
func TestDeadlockIsTriedAgain(t *testing.T) {
	t.Parallel()
	db, sc, _ := open(t)
	add := func(tx *pg.Tx, code string) error {
		_, err := tx.ExecContext(t.Context(), `insert into location (plant_id, code) values ($1, $2) on conflict do nothing`, tx.Plant, code)
		return err
	}
	var both, done sync.WaitGroup
	both.Add(2)
	var mu sync.Mutex
	runs := 0
	for _, order := range [][2]string{{"a", "b"}, {"b", "a"}} {
		first := true
		done.Go(func() {
			err := db.InTx(t.Context(), sc, func(tx *pg.Tx) error {
				mu.Lock()
				runs++
				mu.Unlock()
				if err := add(tx, order[0]); err != nil {
					return err
				}
				if first { // only the first time: each has its first row when it asks for the other's
					first = false
					both.Done()
					both.Wait()
				}
				return add(tx, order[1])
			})
			if err != nil {
				t.Error(err)
			}
		})
	}
	done.Wait()
	if runs < 3 {
		t.Errorf("%d runs: nothing was tried again", runs)
	}
	if n := locations(t, db, sc); n != 2 {
		t.Errorf("%d rows, want 2", n)
	}
}

func TestOtherErrorsAreNotTriedAgain(t *testing.T) {
	t.Parallel()
	db, sc, _ := open(t)
	runs := 0
	own := errors.New("no")
	err := db.InTx(t.Context(), sc, func(*pg.Tx) error { runs++; return own })
	if !errors.Is(err, own) || runs != 1 {
		t.Errorf("%d runs, %v", runs, err)
	}
}

func TestSerializationFailureIsGivenUpInTheEnd(t *testing.T) {
	t.Parallel()
	db, sc, _ := open(t)
	runs := 0
	err := db.InTx(t.Context(), sc, func(tx *pg.Tx) error {
		runs++
		_, err := tx.ExecContext(t.Context(), `do $$ begin raise exception 'again' using errcode = 'serialization_failure'; end $$`)
		return err
	})
	if err == nil || runs != 5 {
		t.Errorf("%d runs, %v", runs, err)
	}
}

func TestOnceAnswersWithoutDoing(t *testing.T) {
	t.Parallel()
	db, sc, _ := open(t)
	sc.IdemKey = "k"
	ask := func(sc pg.Scope, digest string) (answer []byte, done bool, err error) {
		err = db.InTx(t.Context(), sc, func(tx *pg.Tx) (err error) {
			if answer, done, err = tx.Once(t.Context(), []byte(digest)); err != nil || done {
				return err
			}
			return tx.Answered(t.Context(), []byte(digest), 201, fmt.Append(nil, "answer to ", digest))
		})
		return answer, done, err
	}
	if _, done, err := ask(sc, "a"); done || err != nil {
		t.Fatalf("first: done %v, %v", done, err)
	}
	if answer, done, err := ask(sc, "a"); !done || err != nil || string(answer) != "answer to a" {
		t.Errorf("again: done %v, %q, %v", done, answer, err)
	}
	_, _, err := ask(sc, "b")
	wantFault(t, err, fault.Invalid, "idempotency-key-reused")
	for name, other := range map[string]pg.Scope{
		"another person": {Plant: sc.Plant, By: actor.Actor{ID: "qa-2", Kind: actor.Person}, IdemKey: "k"},
		"another plant":  {Plant: plant(t, db, "Birch Hill"), By: sc.By, IdemKey: "k"},
	} {
		if _, done, err := ask(other, "b"); done || err != nil {
			t.Errorf("%s: done %v, %v", name, done, err)
		}
	}
}

// The exclusive plant lock waits for whoever shares it, and the epoch that is
// then read is the one that was raised under the lock.
func TestEpochIsReadUnderTheLock(t *testing.T) {
	t.Parallel()
	db, sc, _ := open(t)
	owned, release := make(chan struct{}), make(chan struct{})
	var done sync.WaitGroup
	done.Go(func() {
		err := db.InTx(t.Context(), sc, func(tx *pg.Tx) error {
			if err := tx.OwnPlant(t.Context()); err != nil {
				return err
			}
			close(owned)
			<-release
			return tx.RaiseEpoch(t.Context())
		})
		if err != nil {
			t.Error(err)
		}
	})
	<-owned
	done.Go(func() {
		err := db.InTx(t.Context(), sc, func(tx *pg.Tx) error {
			close(release)
			epoch, err := tx.SharePlant(t.Context())
			if epoch != 1 {
				t.Errorf("epoch %d, want the one that was raised meanwhile", epoch)
			}
			return err
		})
		if err != nil {
			t.Error(err)
		}
	})
	done.Wait()
}
