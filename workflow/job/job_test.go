package job

import (
	"context"
	"errors"
	"log/slog"
	"os"
	"sync/atomic"
	"testing"
	"time"

	"lastgood/workflow/actor"
	"lastgood/workflow/pg"
	"lastgood/workflow/pg/pgtest"
)

func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }

type numbered struct {
	N int `json:"n"`
}

func (numbered) Kind() string { return "numbered" }

func open(t *testing.T) *pg.DB {
	t.Helper()
	db, err := pg.Open(t.Context(), pgtest.DB(t).App, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

// run starts a runner that does numbered jobs by f until the test ends.
func run(t *testing.T, db *pg.DB, f func(context.Context, numbered) error, looks ...Look) {
	t.Helper()
	k := NewKinds()
	Add(k, Growing(10*time.Millisecond, time.Second), f)
	r, err := Start(t.Context(), db, k, looks, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := r.Stop(context.Background()); err != nil {
			t.Error(err)
		}
	})
}

// until waits for something that has to come.
func until(t *testing.T, what string, f func() bool) {
	t.Helper()
	for end := time.Now().Add(2 * time.Minute); !f(); time.Sleep(10 * time.Millisecond) {
		if time.Now().After(end) {
			t.Fatalf("never came: %s", what)
		}
	}
}

func inTx(t *testing.T, db *pg.DB, f func(*pg.Tx) error) error {
	t.Helper()
	plant, err := db.CreatePlant(t.Context(), t.Name()+time.Now().String(), "UTC", nil)
	if err != nil {
		t.Fatal(err)
	}
	return db.InTx(t.Context(), pg.Scope{Plant: plant, By: actor.Engine}, f)
}

// A job of a transaction that is rolled back is never done; of one that commits it
// is, by one of two runners.
func TestJobsBelongToTheirTransaction(t *testing.T) {
	t.Parallel()
	db := open(t)
	var done [4]atomic.Int64
	for range 2 {
		run(t, db, func(_ context.Context, j numbered) error { done[j.N].Add(1); return nil })
	}
	undo := errors.New("undo")
	if err := inTx(t, db, func(tx *pg.Tx) error { return errors.Join(Insert(t.Context(), tx, []Args{numbered{0}}), undo) }); !errors.Is(err, undo) {
		t.Fatal(err)
	}
	if err := inTx(t, db, func(tx *pg.Tx) error {
		return Insert(t.Context(), tx, []Args{numbered{1}, numbered{2}, numbered{2}})
	}); err != nil {
		t.Fatal(err)
	}
	until(t, "the jobs that were committed", func() bool { return done[1].Load()+done[2].Load() == 2 })
	if err := inTx(t, db, func(tx *pg.Tx) error { return Insert(t.Context(), tx, []Args{numbered{3}}) }); err != nil {
		t.Fatal(err)
	}
	until(t, "a later job", func() bool { return done[3].Load() == 1 })
	if done[0].Load() != 0 || done[1].Load() != 1 || done[2].Load() != 1 {
		t.Errorf("done %d, %d and %d times", done[0].Load(), done[1].Load(), done[2].Load())
	}
}

// What a runner that was killed had under way is given back at once, though the
// queue would keep it for as long as any job may take.
func TestTheJobsOfTheDeadAreDone(t *testing.T) {
	t.Parallel()
	db := open(t)
	if err := inTx(t, db, func(tx *pg.Tx) error { return Insert(t.Context(), tx, []Args{numbered{1}}) }); err != nil {
		t.Fatal(err)
	}
	const killed = `update river_job set state = 'running', attempt = 1, attempted_at = now(), attempted_by = array['somebody who is no more']`
	if _, err := db.Queue().Exec(killed); err != nil {
		t.Fatal(err)
	}
	var done atomic.Int64
	run(t, db, func(context.Context, numbered) error { done.Add(1); return nil })
	until(t, "the job of the dead", func() bool { return done.Load() == 1 })
}

// A runner that lives keeps its jobs, however long they take.
func TestTheJobsOfTheLivingAreTheirs(t *testing.T) {
	t.Parallel()
	db := open(t)
	var begun, looked atomic.Int64
	free := make(chan struct{})
	for range 2 {
		run(t, db, func(context.Context, numbered) error {
			begun.Add(1)
			<-free
			return nil
		}, Look{Name: "a sign", Every: buryEvery, Find: func(context.Context) ([]Args, error) { looked.Add(1); return nil, nil }})
	}
	if err := inTx(t, db, func(tx *pg.Tx) error { return Insert(t.Context(), tx, []Args{numbered{1}}) }); err != nil {
		t.Fatal(err)
	}
	until(t, "the job", func() bool { return begun.Load() == 1 })
	seen := looked.Load()
	until(t, "a few looks for the dead", func() bool { return looked.Load() >= seen+4 })
	close(free)
	if begun.Load() != 1 {
		t.Errorf("the job was begun %d times", begun.Load())
	}
}

// Two runners that find the same work make one job of it, and one that fails does
// not keep the others back.
func TestAFailureKeepsNobodyBack(t *testing.T) {
	t.Parallel()
	db := open(t)
	const n = 50
	var done [n]atomic.Int64
	find := func(context.Context) (list []Args, err error) {
		for i := range n {
			if done[i].Load() == 0 {
				list = append(list, numbered{i})
			}
		}
		return list, nil
	}
	var failures atomic.Int64
	for range 2 {
		run(t, db, func(_ context.Context, j numbered) error {
			if j.N == 0 && failures.Add(1) < 3 {
				return errors.New("not yet")
			}
			if done[j.N].Load() == 0 { // a look may be older than the work
				done[j.N].Add(1)
			}
			return nil
		}, Look{Name: "numbers", Every: 20 * time.Millisecond, Find: find})
	}
	until(t, "all of them", func() bool { list, _ := find(t.Context()); return len(list) == 0 })
	for i := range n {
		if done[i].Load() != 1 {
			t.Errorf("%d was done %d times", i, done[i].Load())
		}
	}
}

func TestGrowing(t *testing.T) {
	t.Parallel()
	w := Growing(time.Second, time.Minute)
	for attempts, want := range map[int]time.Duration{1: time.Second, 2: 2 * time.Second, 5: 16 * time.Second, 7: time.Minute, 1000: time.Minute} {
		if got := w(attempts); got != want {
			t.Errorf("after %d attempts %v", attempts, got)
		}
	}
}
