//go:build linux

// Package pgtest gives every test a database of its own, on the private server
// that the product itself starts. PostgreSQL is real in every test.
package pgtest

import (
	"context"
	"database/sql"
	"fmt"
	"os"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	_ "github.com/lib/pq" // to clone databases

	"lastgood/migrations"
	"lastgood/workflow/pg/pgserver"
)

// DBs are the connection strings of one test's database.
type DBs struct {
	Owner string // migrates
	App   string // serves
	Admin string // superuser: to look behind the engine's back
}

var (
	start  sync.Once
	server *pgserver.Server
	failed error
	number atomic.Int64
)

// Main runs a package's tests and then stops the server that they started:
//
//	func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }
func Main(m *testing.M) int {
	code := m.Run()
	if server != nil {
		if err := server.Stop(10 * time.Second); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
	return code
}

// Server returns the package's server, starting it first. Its database "lastgood"
// is migrated and is the template that DB clones: leave it alone.
func Server(t testing.TB) *pgserver.Server {
	t.Helper()
	start.Do(func() {
		ctx := context.Background()
		if server, failed = pgserver.Start(ctx, pgserver.Options{BinDir: os.Getenv("LASTGOOD_PG_BIN"), Unsafe: true}); failed == nil {
			_, failed = migrations.Up(ctx, server.OwnerURL("lastgood"))
		}
	})
	if failed != nil {
		t.Fatal(failed)
	}
	return server
}

// DB returns a migrated database for this test alone. It is dropped when the
// test ends.
func DB(t testing.TB) DBs {
	t.Helper()
	s := Server(t)
	name := fmt.Sprintf("test_%d", number.Add(1))
	admin, err := sql.Open("postgres", s.AdminURL("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		defer admin.Close()
		if _, err := admin.Exec("drop database " + name + " with (force)"); err != nil {
			t.Error(err)
		}
	})
	clone(t, admin, name)
	return DBs{Owner: s.OwnerURL(name), App: s.AppURL(name), Admin: s.AdminURL(name)}
}

var cloning sync.Mutex // the template takes one copy at a time

func clone(t testing.TB, admin *sql.DB, name string) {
	t.Helper()
	cloning.Lock()
	defer cloning.Unlock()
	if _, err := admin.Exec("create database " + name + " template lastgood owner lastgood_owner"); err != nil {
		t.Fatal(err)
	}
}
