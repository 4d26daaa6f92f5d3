package main

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"lastgood/api"
	"lastgood/workflow/pg/pgserver"
)

// TestDatabaseRestartedUnderLoad: while the database is away, requests are
// refused as busy; when it is back, they go on; and what was answered is there.
func TestDatabaseRestartedUnderLoad(t *testing.T) {
	t.Parallel()
	dir, err := os.MkdirTemp("", "lastgood-knock-")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	base := startDatabase(t, dir)
	i := &installation{T: t, dir: dir, where: []string{"--database-url", base.AppURL("lastgood"), "--owner-url", base.OwnerURL("lastgood")}}
	i.addPlant()
	i.serve()
	i.probe()

	var answered, refused atomic.Int64
	again := make(chan struct{}) // the database is back
	var wg sync.WaitGroup
	for w := range 4 {
		wg.Go(func() { i.load(w, &answered, &refused, again) })
	}
	for answered.Load() < 20 {
		time.Sleep(time.Millisecond)
	}
	base.Stop(time.Second)
	for refused.Load() < 8 {
		time.Sleep(time.Millisecond)
	}
	base = startDatabase(t, dir)
	close(again)
	wg.Wait()
	i.kill()
	db, err := sql.Open("postgres", base.AdminURL("lastgood"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	i.sound(db)
	if n := i.number(db, `select count(*) from reading`); int64(n) < 50*answered.Load() {
		t.Errorf("%d readings, %d batches of 50 were answered", n, answered.Load())
	}
}

func startDatabase(t *testing.T, dir string) *pgserver.Server {
	t.Helper()
	s, err := pgserver.Start(context.Background(), pgserver.Options{Dir: dir})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Stop(10 * time.Second) })
	return s
}

// load sends small batches until some have been answered after the database came
// back. A batch that was refused is not sent again.
func (i *installation) load(worker int, answered, refused *atomic.Int64, again <-chan struct{}) {
	after := 0
	for n := 0; after < 5; n++ {
		back := false
		select {
		case <-again:
			back = true
		default:
		}
		var text strings.Builder
		if err := rows(&text, (worker*1000+n)*50, 50); err != nil {
			i.Error(err)
			return
		}
		_, err := i.upload(context.Background(), fmt.Sprintf("w%d-%d", worker, n), "readings.csv", strings.NewReader(text.String()))
		var p *api.Problem
		switch {
		case err == nil:
			answered.Add(1)
			if back {
				after++
			}
		case errors.As(err, &p) && p.Status == 503 && p.Rule == "busy":
			refused.Add(1)
			time.Sleep(5 * time.Millisecond)
		default:
			i.Errorf("while the database was away: %v", err)
			return
		}
	}
}
