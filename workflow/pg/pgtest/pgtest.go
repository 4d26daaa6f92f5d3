//go:build linux

// Package pgtest gives every test a database of its own, on the private server
// that the product itself starts. PostgreSQL is real in every test; where it is
// missing the tests fail and say how to install it.
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

// template is migrated once and copied for each test.
const template = "lastgood"

var (
	start  sync.Once
	server *pgserver.Server
	admin  *sql.DB // of the superuser, on no test's database
	failed error
	number atomic.Int64
)

// Main runs a package's tests and then stops the server that they started:
//
//	func TestMain(m *testing.M) { os.Exit(pgtest.Main(m)) }
func Main(m *testing.M) int {
	code := m.Run()
	if server == nil {
		return code
	}
	if admin != nil {
		admin.Close()
	}
	if err := server.Stop(10 * time.Second); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return code
}

// Server returns the package's server, starting it first. Its database "lastgood"
// is migrated and is the template that DB clones: leave it alone.
func Server(t testing.TB) *pgserver.Server {
	t.Helper()
	start.Do(func() { failed = startServer() })
	if failed != nil {
		t.Fatal(failed)
	}
	return server
}

func startServer() (err error) {
	ctx := context.Background()
	o := pgserver.Options{BinDir: os.Getenv("LASTGOOD_PG_BIN")}
	if server, err = pgserver.Start(ctx, o); err != nil {
		return err
	}
	if admin, err = sql.Open("postgres", server.AdminURL("postgres")); err != nil {
		return err
	}
	_, err = migrations.Up(ctx, server.OwnerURL(template))
	return err
}

// DB returns a migrated database for this test alone. It is dropped when the
// test ends.
func DB(t testing.TB) DBs {
	t.Helper()
	s := Server(t)
	name := fmt.Sprintf("test_%d", number.Add(1))
	if err := clone(name); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if _, err := admin.Exec("drop database " + name + " with (force)"); err != nil {
			t.Error(err)
		}
	})
	return DBs{Owner: s.OwnerURL(name), App: s.AppURL(name), Admin: s.AdminURL(name)}
}

var cloning sync.Mutex // the template takes one copy at a time

// clone copies the template. PostgreSQL does not copy the rights on a database
// itself, so they are given again, as the real one has them.
func clone(name string) error {
	cloning.Lock()
	defer cloning.Unlock()
	for _, statement := range []string{
		"create database " + name + " template " + template + " owner lastgood_owner",
		"revoke all on database " + name + " from public",
		"grant connect, temporary on database " + name + " to lastgood_application",
	} {
		if _, err := admin.Exec(statement); err != nil {
			return fmt.Errorf("%s: %w", statement, err)
		}
	}
	return nil
}
